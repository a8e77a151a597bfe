"""What runs inside the process of the virtual board: simulated hardware modules and physics."""
