"""Read a box as a master does that is not ours: pymodbus, 3.0 or newer.

    read.py tcp HOST PORT UNIT        read.py rtu DEVICE UNIT
        reads every register and prints them as JSON, with the exceptions of what is refused
    read.py … acknowledge
        writes the one word that can be written, by both functions, and prints the exceptions
"""

import inspect
import json
import sys

from pymodbus.client import ModbusSerialClient, ModbusTcpClient

how, *rest = sys.argv[1:]
if how == "tcp":
    client = ModbusTcpClient(rest[0], port=int(rest[1]), timeout=20)
    unit, wish = int(rest[2]), rest[3:]
else:
    # A pseudo-terminal has no parity.
    client = ModbusSerialClient(port=rest[0], baudrate=19200, parity="N", timeout=20)
    unit, wish = int(rest[1]), rest[2:]
assert client.connect(), "nobody listens"

# What the address is called changed with the library's versions.
known = inspect.signature(client.read_input_registers).parameters
to = {"device_id" if "device_id" in known else "slave": unit}


def exception(reply):
    return getattr(reply, "exception_code", None) if reply.isError() else 0


if wish == ["acknowledge"]:
    first = client.write_register(256, 0xAC4B, **to)
    second = client.write_registers(256, [0xAC4B], **to)
    print(json.dumps({"exceptions": [exception(first), exception(second)]}))
else:
    parts = [client.read_input_registers(0, count=100, **to), client.read_input_registers(100, count=44, **to)]
    holding = client.read_holding_registers(48, count=2, **to)
    print(
        json.dumps(
            {
                "exceptions": [exception(part) for part in parts],
                "registers": [register for part in parts if not part.isError() for register in part.registers],
                "holding": getattr(holding, "registers", []),
                "beyond": exception(client.read_input_registers(144, count=1, **to)),
                "coils": exception(client.read_coils(0, count=1, **to)),
                "another_word": exception(client.write_register(256, 1, **to)),
                "another_register": exception(client.write_register(4, 0xAC4B, **to)),
            }
        )
    )
client.close()
