// Package rfc2217 is a serial port at the other end of a network line, its
// speed and parity included: the client side of RFC 2217, Telnet Com Port
// Control Option.
//
// # Words
//
// A bridge is the box (or program) that has the port. Telnet commands stand
// between the bytes of the device, each started by IAC (255); a byte 255 of the
// device is doubled. An option is agreed on by WILL, DO, WONT and DONT; what
// belongs to one stands between SB and SE.
//
// # Sources
//
// RFC 2217 (option 44; text seen): its codes, and the bridge's answer to each,
// which is the code plus 100 with the value now in force. RFC 854 and 855
// (commands), 856 (binary), 858 (no go-ahead): from memory.
//
// # Promises
//
// [Open] returns when the bridge has confirmed speed, data bits, parity and
// stop bits as asked, or says which it did not. What the device said before
// that came at another setting, or at an unknown time, and is dropped. After
// it, every byte of the device comes through, in order, and nothing else. No
// bridge can make the client talk without end: each option is answered once.
//
// Flow control is switched off, since no instrument here knows it. A baud rate
// is asked for once; a break, which would reset boards, never.
//
// # Assumptions
//
// The address is that of such a bridge. To a plain one the telnet commands
// would look like bytes for the device: use tcp:// there.
package rfc2217
