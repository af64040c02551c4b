// Package modbus reads an indicator or encoder that keeps its number in the
// registers of a bus device: Modbus RTU, this side being the master. The
// [Decoder] is pure: the source writes what it asks and keeps the time.
//
// # Words
//
// A device (slave) has holding and input registers of 16 bits; a long number
// takes two. Registers are counted from 0 here, as on the wire; many manuals
// count from 1, or from 40001 and 30001. The order of the four bytes of a long
// number is written ABCD (as the standard has it), CDAB (low word first), BADC
// or DCBA. A frame ends with a check of two bytes, the CRC.
//
// # An address
//
//	serial:/dev/ttyUSB0?baud=19200&parity=E&format=modbus&slave=1&register=107&type=int32&scale=0.001mm&rate=20
//
// slave, register, table, type, order and role say what to ask; scale (or unit)
// what one is worth of a lift, step what one is worth of an angle, counts= and
// its companions what counts are worth.
//
// # Sources
//
// Modbus Application Protocol V1.1b3: functions 3 and 4, exceptions. Modbus over
// Serial Line V1.02: frame, CRC-16 (polynomial 0x8005 reflected, started at
// 0xFFFF, low byte first), silence of 3.5 characters before a frame, and of
// 1.750 ms above 19200 baud (page 13). From memory; the tests hold the frames.
//
// # Promises
//
// Nothing but a frame whose CRC agrees, from the device that was asked, of the
// function and length that were asked for, is a reading. An exception is a
// condition. What is else is counted. A line that gives back what was sent (two
// wires, no echo cancelling) is understood. Nothing is ever written to a register.
//
// # Why not a library
//
// github.com/simonvetter/modbus is good and is what the tests compare with. But
// it opens the port itself and blocks in a request, where here one source owns
// every port (its modem lines, unplugging, raw bytes, time of each chunk); it
// takes no open line. What we need of the protocol is one request and two
// answers.
//
// # Assumptions
//
// Frames are told by their length and CRC: a system that hands bytes over in
// lumps shows no silences. An answer too late for its own request (300 ms at
// first) may be taken for that to the next, and is then a reading too old by one
// request; a device that takes its time is waited for longer from then on.
package modbus
