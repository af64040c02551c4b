// Package ports tells which serial ports there are, by what they are found again, and
// which program holds one. Nothing is opened to find out: an open may reset a board.
package ports
