"""Twenty scripts of an independent client against the instrument on the port that is named.

Prints "20 scripts", or fails at the first that is not understood."""

import sys

import pyvisa

manager = pyvisa.ResourceManager("@py")
where = f"TCPIP::127.0.0.1::{sys.argv[1]}::SOCKET"
count = 0


def script(*steps):
    """Each step is a message and what its answer must be; None for a command."""
    global count
    with manager.open_resource(where) as set_:
        set_.read_termination = set_.write_termination = "\n"
        set_.timeout = 5000
        for message, wanted in steps:
            if wanted is None:
                set_.write(message)
                continue
            answer = set_.query(message).strip()
            good = wanted(answer) if callable(wanted) else answer == wanted
            assert good, (message, answer, wanted)
    count += 1


IDENTITY = "INVENTED INSTRUMENTS,SERVICE MONITOR,SIM-1,1.0"
NO_ERROR = '0,"No error"'


def near(value, within):
    return lambda answer: abs(float(answer) - value) <= within


script(("*IDN?", IDENTITY))
script(("*idn?", IDENTITY))
script(("*OPC?", "1"))
script(("SYSTem:ERRor?", NO_ERROR))
script(("SYST:ERR?", NO_ERROR))
script(("MEAS:POW?", near(22100, 400)))
script(("measure:power?", near(22100, 400)))
script(("MEASure:FREQuency:ERRor?", near(151, 20)))
script(("MEAS:FREQ:ERR?", near(151, 20)), ("SYST:ERR?", NO_ERROR))
script(("MEAS:DEV?", near(2480, 80)))
script(("MEASu:POWer?x", None), ("SYST:ERR?", lambda said: said.startswith("-113,")))
script(("NOTHING", None), ("SYST:ERR?", lambda s: s.startswith("-113,")), ("SYST:ERR?", NO_ERROR))
script(("NOTHING", None), ("*CLS", None), ("SYST:ERR?", NO_ERROR))
for level in (-100, -110.5, -121.2, -130):
    script((f"SOUR:POW:LEV {level} DBM", None), ("SOUR:POW:LEV?", near(level, 1e-9)))
script(("SOURce:POWer:LEVel -120", None), ("MEAS:SQU?", "1"))
script(("SOUR:POW:LEV -125", None), ("MEAS:SQU?", "0"), ("SYST:ERR?", NO_ERROR))
script(("SOUR:POW:LEV loud", None), ("SYST:ERR?", lambda said: said.startswith("-104,")))
print(count, "scripts")
