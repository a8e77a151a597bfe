"""What `life.run` puts into the module `bench_state`, which has no other file: this one is the type checker's."""

from frogfeed.bench.sim.kernel import Kernel
from frogfeed.bench.sim.life import Life
from frogfeed.bench.sim.physics.world import World

KERNEL: Kernel
WORLD: World
LIFE: Life
REAL: bool
TICKS_START_US: int
TICK_US: int
