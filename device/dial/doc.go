// Package dial opens the link of an address: [Dial] for any kind, [Port] for a serial
// port by its name. An error tells apart what is not there, what is not allowed and
// what another program holds, each with what to do about it.
package dial
