"""A Modbus slave by pymodbus, with 600 coils; the first lines of its output say that
it listens. Usage: slave.py tcp PORT | slave.py rtu PATH [stuck]: with "stuck", coil 5
says open whatever it was told."""
import sys

from pymodbus.datastore import (ModbusSequentialDataBlock, ModbusServerContext,
                                ModbusSlaveContext)
from pymodbus.server import StartSerialServer, StartTcpServer
from pymodbus.transaction import ModbusRtuFramer


class Coils(ModbusSequentialDataBlock):
    stuck = "stuck" in sys.argv

    def getValues(self, address, count=1):
        values = super().getValues(address, count)
        if self.stuck and address <= 6 < address + count:  # pymodbus counts from 1
            values[6 - address] = False
        return values


context = ModbusServerContext(slaves=ModbusSlaveContext(co=Coils(1, [False] * 600)), single=True)
print("listening", flush=True)
if sys.argv[1] == "tcp":
    StartTcpServer(context=context, address=("127.0.0.1", int(sys.argv[2])))
else:
    StartSerialServer(context=context, framer=ModbusRtuFramer, port=sys.argv[2], baudrate=9600,
                      timeout=0.005)
