"""A bus device on a serial line, by pymodbus: numbers of every type in every
order in both tables, written by the library's own payload builder. Says where
each stands, a JSON object a line, then "ready".

    python3 slave.py TTY

Holding register 900 takes 450 ms to answer and holds the seconds since the
start in milliseconds, as an int32, taken when it begins to; 910 fails."""

import asyncio
import json
import sys
import time

from pymodbus.constants import Endian
from pymodbus.datastore import ModbusSequentialDataBlock, ModbusServerContext, ModbusSlaveContext
from pymodbus.payload import BinaryPayloadBuilder
from pymodbus.server.async_io import ModbusSerialServer
from pymodbus.transaction import ModbusRtuFramer

BEGAN = time.monotonic()
LATE, FAILS = 900, 910


class Block(ModbusSequentialDataBlock):
    def getValues(self, address, count=1):
        if address == FAILS:
            raise RuntimeError("the device failed")
        if address == LATE:
            now = int(1000 * (time.monotonic() - BEGAN))
            time.sleep(0.45)
            return [now >> 16, now & 0xFFFF]
        return super().getValues(address, count)


def numbers(table):
    words = []
    for order, byte, word in (("ABCD", Endian.Big, Endian.Big), ("CDAB", Endian.Big, Endian.Little),
                              ("BADC", Endian.Little, Endian.Big), ("DCBA", Endian.Little, Endian.Little)):
        for kind, add, value in (("int16", "add_16bit_int", -1234), ("uint16", "add_16bit_uint", 60001),
                                 ("int32", "add_32bit_int", -123456789), ("uint32", "add_32bit_uint", 4000000001),
                                 ("float32", "add_32bit_float", -12.7)):
            built = BinaryPayloadBuilder(byteorder=byte, wordorder=word)
            getattr(built, add)(value)
            print(json.dumps({"table": table, "order": order, "type": kind, "register": len(words), "value": value}))
            words += built.to_registers()
    return words + [0] * (1000 - len(words))


async def main():
    device = ModbusSlaveContext(hr=Block(0, numbers("holding")), ir=Block(0, numbers("input")), zero_mode=True)
    server = ModbusSerialServer(ModbusServerContext({17: device}, single=False), framer=ModbusRtuFramer,
                                port=sys.argv[1], baudrate=115200, ignore_missing_slaves=True)
    await server.start()  # the line is open, and emptied
    print("ready", flush=True)
    await server.serve_forever()


asyncio.run(main())
