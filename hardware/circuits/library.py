"""SPICE models of our own for generic parts. Figures: datasheet classes, or from memory where so said."""

from __future__ import annotations

__all__ = ["MODELS"]

MODELS: dict[str, str] = {
    "dsig": "* small silicon diode, 100 mA class (from memory)\n"
    ".model dsig D(IS=2.5n N=1.75 RS=0.6 CJO=4p TT=6n BV=100)",
    "dschottky": "* small Schottky clamp, 30 V class (from memory)\n"
    ".model dschottky D(IS=200n N=1.05 RS=2 CJO=10p BV=30)",
    "dpower": "* silicon power diode, 3 A class: 0.8 V at 3 A (from memory)\n"
    ".model dpower D(IS=1n N=1.4 RS=15m CJO=50p TT=2u BV=100)",
    "driver": """\
* one channel of a ULN2803A: 2.7 k, a Darlington pair, 7.2 k and 3 k from base to emitter, clamp diode to com
.model qdarl NPN(IS=1e-14 BF=100 RC=1 RB=20 CJC=5p CJE=10p TF=0.5n TR=50n)
.model dclamp D(IS=1n N=1.5 RS=1 CJO=10p BV=60)
.subckt driver in out com gnd
Rin in b1 2.7k
R1 b1 e1 7.2k
R2 e1 gnd 3k
Q1 out b1 e1 qdarl
Q2 out e1 gnd qdarl 4
Dc out com dclamp
.ends""",
    "photomos": """\
* photo-MOS relay, 30 V 4 A class, 20 milliohm: infrared LED, photovoltaic gate drive, two transistors back to back.
* kpv: gate current over LED current; roff: what empties the gate once the LED is dark. Capacitances from memory.
.model dled D(IS=1e-14 N=1.8 RS=3 CJO=30p)
.model nswitch NMOS(LEVEL=1 VTO=2 KP=16.7 LAMBDA=0)
.model dbody D(IS=1p N=1.1 RS=5m BV=40)
.subckt photomos a k d1 d2 kpv=0.7m roff=72k
Dl a x dled
Vl x k 0
Bpv s g I={kpv}*0.5*(i(Vl)+sqrt(i(Vl)*i(Vl)+1e-12))*0.5*(1+tanh(4*(8-v(g,s))))
Boff g s I=v(g,s)/{roff}*0.5*(1-tanh(2e4*(i(Vl)-0.3m)))
Rg g s 100meg
Cg g s 1n
M1 d1 g s s nswitch L=1u W=1u
M2 d2 g s s nswitch L=1u W=1u
Db1 s d1 dbody
Db2 s d2 dbody
C1 d1 s 300p
C2 d2 s 300p
C3 d1 g 60p
C4 d2 g 60p
.ends""",
    "hall": """\
* Hall current sensor, ACS712 class, 5 A version: 185 mV/A about half the supply, 80 kHz, 1.2 milliohm
.subckt hall p m vcc out gnd
Rp p q 1.2m
Vp q m 0
Bs raw gnd V=v(vcc,gnd)*(0.5+0.037*i(Vp))
Rf raw f 1k
Cf f gnd 1.99n
Eo y gnd f gnd 1
Ro y out 1
.ends""",
    "comparator": """\
* comparator with open collector, LM393 class: about 1.3 us, 50 ohm when pulling down (from memory)
.model soc SW(VT=0.5 VH=0.05 RON=50 ROFF=100meg)
.subckt comparator p m out
Bd d 0 V=0.5*(1+tanh(500*v(m,p)))
Rd d e 10k
Cd e 0 190p
So out 0 e 0 soc
.ends""",
    "nand": """\
* CMOS NAND at 3.3 V, 74HC class: about 10 ns (from memory)
.subckt nand a b y
By i 0 V=3.3*(1-0.25*(1+tanh(8*(v(a)-1.65)))*(1+tanh(8*(v(b)-1.65))))
Ri i j 50
Cj j 0 200p
Ey k 0 j 0 1
Ro k y 40
.ends""",
}
