// The manual of addresses, as `lobescribe addresses` prints it. Made by
// `go test ./device/address -run Manual -update-manual`; not written by hand.

/** @type {{title: string, says: string, rows?: {word: string, says: string, allowed?: string, example: string}[]}[]} */
export const manual = [
 {
  "title": "Where a device is",
  "says": "An address says by what a device is reached, and behind a question mark how it speaks. Most need nothing behind it: the layout of the lines is found by listening.",
  "rows": [
   {
    "word": "serial:PORT",
    "says": "a serial port by its name",
    "example": "serial:/dev/ttyUSB0"
   },
   {
    "word": "serial:COM",
    "says": "the same on Windows",
    "example": "serial:COM3"
   },
   {
    "word": "usb:VVVV:PPPP[:SERIAL]",
    "says": "the port of a USB converter by what it says it is, whatever its name today; lobescribe ports shows it",
    "example": "usb:0403:6001:A5069RR4"
   },
   {
    "word": "tcp://HOST:PORT",
    "says": "raw serial over the network",
    "example": "tcp://192.168.1.20:4001"
   },
   {
    "word": "rfc2217://HOST:PORT",
    "says": "serial over telnet, with its line settings",
    "example": "rfc2217://192.168.1.20:4002?baud=4800"
   }
  ]
 },
 {
  "title": "Words behind the question mark",
  "says": "Parted by \u0026. In a shell the address stands in quotes then. %20 is a blank, %26 an \u0026.",
  "rows": [
   {
    "word": "baud=",
    "says": "speed of the line",
    "allowed": "a whole number from 50 to 4000000, as in 9600",
    "example": "serial:/dev/ttyUSB0?baud=115200"
   },
   {
    "word": "bits=",
    "says": "data bits",
    "allowed": "5, 6, 7 or 8",
    "example": "serial:/dev/ttyUSB0?baud=4800\u0026bits=7\u0026parity=even\u0026stop=2"
   },
   {
    "word": "parity=",
    "says": "parity",
    "allowed": "none, even, odd, mark or space (or N E O M S)",
    "example": "serial:/dev/ttyUSB0?bits=7\u0026parity=even"
   },
   {
    "word": "stop=",
    "says": "stop bits",
    "allowed": "1, 1.5 or 2",
    "example": "serial:/dev/ttyUSB0?stop=2"
   },
   {
    "word": "dtr=",
    "says": "the DTR line",
    "allowed": "on or off (default: as the system sets it)",
    "example": "serial:/dev/ttyUSB0?dtr=off"
   },
   {
    "word": "rts=",
    "says": "the RTS line",
    "allowed": "on or off (default: as the system sets it)",
    "example": "serial:/dev/ttyUSB0?rts=on"
   },
   {
    "word": "format=",
    "says": "how the device writes a reading",
    "allowed": "auto, none, or the name of a format",
    "example": "serial:/dev/ttyUSB0?format=unit-behind"
   },
   {
    "word": "unit=",
    "says": "unit of numbers without one",
    "allowed": "mm, in, thou, µm, cm or m; of an encoder's angle deg, rad or turn",
    "example": "serial:/dev/ttyUSB0?unit=in"
   },
   {
    "word": "scale=",
    "says": "length of one count",
    "allowed": "a length, as in 0.001mm or 0.0005in",
    "example": "serial:/dev/ttyUSB0?scale=0.0005in"
   },
   {
    "word": "column=",
    "says": "which column of the lines to take",
    "allowed": "its number, counted from 1 among those with numbers, or its name",
    "example": "serial:/dev/ttyUSB0?column=2"
   },
   {
    "word": "separator=",
    "says": "what parts the columns of the lines",
    "allowed": "comma, semicolon, tab, blank, bar, colon or slash",
    "example": "serial:/dev/ttyUSB0?separator=semicolon"
   },
   {
    "word": "poll=",
    "says": "what to write to ask for a reading",
    "allowed": "text; \\r and \\n stand for the ends of a line",
    "example": "serial:/dev/ttyUSB0?poll=R\\r"
   },
   {
    "word": "rate=",
    "says": "readings a second to ask for, or to expect",
    "allowed": "a number from 0.1 to 5000",
    "example": "serial:/dev/ttyUSB0?poll=?\\r\u0026rate=10"
   },
   {
    "word": "delay=",
    "says": "how long before its arrival a reading was measured",
    "allowed": "a time up to 10 s, as in 16ms",
    "example": "serial:/dev/ttyUSB0?delay=16ms"
   },
   {
    "word": "invert=",
    "says": "turn the sign of the lift",
    "allowed": "yes or no",
    "example": "serial:/dev/ttyUSB0?invert=yes"
   },
   {
    "word": "pedal=",
    "says": "foot switch on a line of the port: a press is a mark",
    "allowed": "cts or dsr",
    "example": "serial:/dev/ttyUSB0?pedal=cts\u0026rts=on"
   },
   {
    "word": "counts=",
    "says": "encoder: counts a turn of what it sits on",
    "allowed": "a whole number, as in 2400",
    "example": "serial:/dev/ttyACM0?counts=2400"
   },
   {
    "word": "on=",
    "says": "encoder: what it sits on",
    "allowed": "crank or cam",
    "example": "serial:/dev/ttyACM0?counts=2400\u0026on=cam"
   },
   {
    "word": "offset=",
    "says": "encoder: crank angle where it says zero",
    "allowed": "degrees, as in -12.5",
    "example": "serial:/dev/ttyACM0?counts=2400\u0026offset=-12.5"
   },
   {
    "word": "wrap=",
    "says": "encoder: where its printed angle starts again",
    "allowed": "360 or 720",
    "example": "serial:/dev/ttyACM0?wrap=720"
   },
   {
    "word": "reverse=",
    "says": "encoder: it counts down as the engine turns",
    "allowed": "yes or no",
    "example": "serial:/dev/ttyACM0?counts=2400\u0026reverse=yes"
   },
   {
    "word": "index=",
    "says": "encoder: a letter I or Z behind its counts is the index",
    "allowed": "yes or no",
    "example": "serial:/dev/ttyACM0?counts=2400\u0026index=yes"
   },
   {
    "word": "slave=",
    "says": "bus: address of the device",
    "allowed": "a whole number from 1 to 247",
    "example": "serial:/dev/ttyUSB1?format=modbus\u0026slave=3\u0026register=0\u0026type=int16\u0026scale=0.001mm"
   },
   {
    "word": "register=",
    "says": "bus: first register, counted from 0",
    "allowed": "a whole number from 0 to 65535",
    "example": "serial:/dev/ttyUSB1?format=modbus\u0026register=16\u0026type=int32\u0026scale=0.001mm"
   },
   {
    "word": "table=",
    "says": "bus: which registers",
    "allowed": "holding or input",
    "example": "serial:/dev/ttyUSB1?format=modbus\u0026table=input\u0026register=0\u0026type=int16\u0026scale=0.001mm"
   },
   {
    "word": "type=",
    "says": "bus: how the number is stored",
    "allowed": "int16, uint16, int32, uint32 or float32",
    "example": "serial:/dev/ttyUSB1?format=modbus\u0026register=0\u0026type=float32\u0026unit=mm"
   },
   {
    "word": "order=",
    "says": "bus: order of the bytes of a long number",
    "allowed": "abcd, cdab, badc or dcba; high (word first) or low",
    "example": "serial:/dev/ttyUSB1?format=modbus\u0026register=0\u0026type=float32\u0026order=cdab\u0026unit=mm"
   },
   {
    "word": "role=",
    "says": "what the number is; a port of angle or counts never gives a lift",
    "allowed": "lift, angle or counts",
    "example": "serial:/dev/ttyACM0?role=angle"
   },
   {
    "word": "step=",
    "says": "bus: angle of one, where it is an angle",
    "allowed": "degrees, as in 0.01",
    "example": "serial:/dev/ttyUSB1?format=modbus\u0026role=angle\u0026register=4\u0026type=uint16\u0026step=0.01"
   }
  ]
 },
 {
  "title": "What is found by listening",
  "says": "The column that moves as a valve does is the lift: out, back, and at rest on its heel for most of a turn. On an encoder's port it is the column that goes on one way, as a crank does, and never a lift. A unit behind a number or in its name counts before all else: 1.23 mm, dist_mm=1.23, \"displacement_mm\":1.23, Height [in]: 0.420. A clock, the number of the line, a temperature or a speed, text in quotes and times of day are never a reading. What nothing in the lines tells is assumed, and said: the unit (unit=), what a whole number is (scale=, or counts= of an encoder), which of several columns (column=). Where two columns could be it and neither has moved, nothing is given out until the engine is turned or column= is said. Two channels that come in turn are told apart by what stands before their numbers."
 },
 {
  "title": "Formats that format= may name",
  "says": "format=auto, which needs not be said, finds most. format=none opens a port for its foot switch alone.",
  "rows": [
   {
    "word": "plain",
    "says": "a bare decimal a line: 10.668 (unit= says the unit; mm if it does not)",
    "example": "serial:/dev/ttyUSB0?format=plain"
   },
   {
    "word": "plain-inch",
    "says": "a bare decimal in inches: 0.4200",
    "example": "serial:/dev/ttyUSB0?format=plain-inch"
   },
   {
    "word": "unit-behind",
    "says": "a decimal and its unit, and perhaps a status: +10.668 mm, 0.4200 in OK",
    "example": "serial:/dev/ttyUSB0?format=unit-behind"
   },
   {
    "word": "unit-letter",
    "says": "a decimal and the letter M or I for its unit: +010.668M, +00.4200I",
    "example": "serial:/dev/ttyUSB0?format=unit-letter"
   },
   {
    "word": "channel",
    "says": "a channel before the number: 01A+0010.668 or A: 0.4200 in",
    "example": "serial:/dev/ttyUSB0?format=channel"
   },
   {
    "word": "sign-behind",
    "says": "the sign behind the number: 0.4200- in",
    "example": "serial:/dev/ttyUSB0?format=sign-behind"
   },
   {
    "word": "comma",
    "says": "a decimal comma: 10,668 mm",
    "example": "serial:/dev/ttyUSB0?format=comma"
   },
   {
    "word": "microns",
    "says": "whole counts of 0.001 mm: +10668 (scale= for another count)",
    "example": "serial:/dev/ttyUSB0?format=microns"
   },
   {
    "word": "hundredths",
    "says": "whole counts of 0.01 mm: 1067 (scale= for another count)",
    "example": "serial:/dev/ttyUSB0?format=hundredths"
   },
   {
    "word": "tenths",
    "says": "whole counts of 0.0001 in: 4200 (scale= for another count)",
    "example": "serial:/dev/ttyUSB0?format=tenths"
   },
   {
    "word": "framed",
    "says": "between STX and ETX, with or without a unit: \u003cSTX\u003e+10.668 mm\u003cETX\u003e",
    "example": "serial:/dev/ttyUSB0?format=framed"
   },
   {
    "word": "checked",
    "says": "between $ and * with a check behind it: $LIFT,10.668,mm*00",
    "example": "serial:/dev/ttyUSB0?format=checked"
   },
   {
    "word": "sixteen",
    "says": "sixteen digits from STX to CR, with the sign, the point and the unit among them: \u003cSTX\u003e41940300010668",
    "example": "serial:/dev/ttyUSB0?format=sixteen"
   },
   {
    "word": "asked",
    "says": "speaks when asked by \"?\" and CR, a decimal and its unit: 0.4200 in",
    "example": "serial:/dev/ttyUSB0?format=asked\u0026poll=?%0D"
   },
   {
    "word": "angle-lift",
    "says": "degrees and lift: 106.5,10.668 mm",
    "example": "serial:/dev/ttyUSB0?format=angle-lift"
   },
   {
    "word": "counts-lift",
    "says": "counts of an encoder and lift: 710,10.668mm (counts= says how many make a turn)",
    "example": "serial:/dev/ttyUSB0?format=counts-lift\u0026counts=2400"
   },
   {
    "word": "counts-lift-checked",
    "says": "as counts-lift, with a check: $710,10.668mm*0D",
    "example": "serial:/dev/ttyUSB0?format=counts-lift-checked\u0026counts=2400"
   },
   {
    "word": "board",
    "says": "the board of this project's firmware, its lines numbered: $710,10.668mm,37*25 (counts= says how many make a turn)",
    "example": "serial:/dev/ttyUSB0?format=board\u0026counts=2400"
   },
   {
    "word": "degrees",
    "says": "degrees of an encoder: 106.5",
    "example": "serial:/dev/ttyUSB0?format=degrees"
   },
   {
    "word": "counts",
    "says": "counts of an encoder: 710 (counts= says how many make a turn)",
    "example": "serial:/dev/ttyUSB0?format=counts\u0026counts=2400"
   }
  ]
 },
 {
  "title": "Modbus RTU",
  "says": "A device on a bus is asked for a register at the rate said. slave= is its address, register= counts from 0, and type= and order= say how the number is stored; scale= or unit= what one is. role=angle or role=counts makes an encoder of it.",
  "rows": [
   {
    "word": "a gauge",
    "says": "a signed whole number of 0.001 mm in holding register 0 of device 1, twenty times a second",
    "example": "serial:/dev/ttyUSB0?baud=19200\u0026parity=even\u0026format=modbus\u0026slave=1\u0026register=0\u0026type=int16\u0026scale=0.001mm\u0026rate=20"
   },
   {
    "word": "a gauge of decimals",
    "says": "a float in two input registers, the low word first",
    "example": "serial:/dev/ttyUSB0?format=modbus\u0026table=input\u0026register=2\u0026type=float32\u0026order=cdab\u0026unit=mm"
   },
   {
    "word": "an encoder",
    "says": "counts in a long number, 4096 to a turn",
    "example": "serial:/dev/ttyUSB0?format=modbus\u0026role=counts\u0026register=8\u0026type=uint32\u0026counts=4096"
   }
  ]
 },
 {
  "title": "A serial port over the network",
  "says": "tcp:// is a bridge that hands on raw bytes; its speed is set on the bridge. rfc2217:// is one whose speed and parity are set from here, by telnet options. There is no secrecy on either line.",
  "rows": [
   {
    "word": "raw",
    "says": "whatever the bridge was set to",
    "example": "tcp://192.168.1.20:4001?unit=mm"
   },
   {
    "word": "with settings",
    "says": "4800 7E2, as many old gauges want",
    "example": "rfc2217://192.168.1.20:4002?baud=4800\u0026bits=7\u0026parity=even\u0026stop=2"
   }
  ]
 },
 {
  "title": "A foot switch",
  "says": "A switch between CTS or DSR and a line of the port that is held on, such as RTS, is a pedal: a press is a mark, and held down it ends the trace. Keys and presenters need no address: see the keys.",
  "rows": [
   {
    "word": "on the indicator's port",
    "says": "its cable leaves CTS free",
    "example": "serial:/dev/ttyUSB0?pedal=cts\u0026rts=on"
   },
   {
    "word": "on a port of its own",
    "says": "nothing else is read there",
    "example": "serial:/dev/ttyUSB1?format=none\u0026pedal=dsr"
   }
  ]
 },
 {
  "title": "A format of your own",
  "says": "lobescribe formats new ADDRESS listens and prints one as TOML, made from the very lines; lobescribe formats NAME prints a built-in one. Put it into formats.toml in the data folder, or name a file with --formats. Each [[format.column]] is a number of the line, from left to right.",
  "rows": [
   {
    "word": "format=NAME",
    "says": "the format of that name in formats.toml",
    "example": "serial:/dev/ttyUSB0?format=my-gauge"
   }
  ]
 }
];
