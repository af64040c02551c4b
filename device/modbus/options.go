package modbus

import (
	"errors"
	"fmt"
	"strconv"
	"strings"

	"lobescribe/device/measure"
	"lobescribe/device/wire"
)

// Table says which registers of a device are read.
type Table uint8

// The tables of registers.
const (
	Holding Table = iota // function 3
	Input                // function 4
)

// String returns the table as it is written in an address.
func (t Table) String() string { return [...]string{"holding", "input"}[t] }

func (t Table) function() byte { return 3 + byte(t) }

// Type is how a number is stored.
type Type uint8

// The types of numbers.
const (
	Int16 Type = iota
	Uint16
	Int32
	Uint32
	Float32
)

var typeNames = [...]string{"int16", "uint16", "int32", "uint32", "float32"}

// String returns the type as it is written in an address.
func (t Type) String() string { return typeNames[t] }

// registers returns how many registers a number takes.
func (t Type) registers() int {
	if t <= Uint16 {
		return 1
	}
	return 2
}

// Order is the order of the bytes of a long number, A being the highest. Of a
// short one only the order within a register counts.
type Order uint8

// The orders of bytes.
const (
	ABCD Order = iota // high word first, as the standard has it
	CDAB              // low word first
	BADC              // high word first, bytes swapped
	DCBA              // low word first, bytes swapped
)

var orderNames = [...]string{"ABCD", "CDAB", "BADC", "DCBA"}

// String returns the order as four letters.
func (o Order) String() string { return orderNames[o] }

// Role says what the number is.
type Role uint8

// The roles of a number.
const (
	Lift   Role = iota // a length
	Angle              // degrees of the encoder's shaft
	Counts             // counts of an encoder
)

// String returns the role as it is written in an address.
func (r Role) String() string { return [...]string{"lift", "angle", "counts"}[r] }

// Options say what to read. The zero value with a Scale is a lift in holding
// register 0 of device 1, as int16.
type Options struct {
	Slave    byte // 1 to 247; 1
	Table    Table
	Register int // counted from 0, as on the wire
	Type     Type
	Order    Order
	Role     Role

	// Scale is the length of one of a lift; 0 means one Unit. Without either a
	// float32 is taken to be in millimetres.
	Scale measure.Length
	Unit  measure.Unit
	// Invert turns the sign of a lift.
	Invert bool
	// Step is the angle of one of an angle; 0 means a degree, for a float32.
	Step measure.Angle
	// Crank makes crank angle of angles and counts; they need one.
	Crank wire.Crank
}

// Parse reads the keys slave, table, register, type, order, role and step of an
// address, as value gives them. The rest of the options is the caller's.
func Parse(value func(key string) string) (Options, error) {
	var o Options
	number := func(key string, least, most, usual int) (int, error) {
		text := value(key)
		if text == "" {
			return usual, nil
		}
		n, err := strconv.Atoi(text)
		if err != nil || n < least || n > most {
			return 0, fmt.Errorf("%s=%s: a whole number from %d to %d is wanted", key, text, least, most)
		}
		return n, nil
	}
	word := func(key string, names ...string) (int, error) {
		text := value(key)
		if text == "" {
			return 0, nil
		}
		for i, n := range names {
			if strings.EqualFold(n, text) {
				return i, nil
			}
		}
		return 0, fmt.Errorf("%s=%s: write one of %s", key, text, strings.Join(names, ", "))
	}
	if value("register") == "" {
		return o, errors.New("format modbus needs to know where the number stands: add register=, counted from 0, as in register=107")
	}
	slave, err1 := number("slave", 1, 247, 1)
	register, err2 := number("register", 0, 65535, 0)
	table, err3 := word("table", "holding", "input")
	kind, err4 := word("type", typeNames[:]...)
	order, err5 := word("order", append(orderNames[:], "high", "low")...)
	role, err6 := word("role", "lift", "angle", "counts")
	if err := errors.Join(err1, err2, err3, err4, err5, err6); err != nil {
		return o, err
	}
	if order > int(DCBA) { // by words: high or low first
		order -= int(DCBA) + 1
	}
	if step := value("step"); step != "" {
		a, err := measure.ParseAngle(step)
		if err != nil || a <= 0 {
			return o, fmt.Errorf("step=%s: a number of degrees above zero is wanted, as in step=0.01", step)
		}
		o.Step = a
	}
	o.Slave, o.Register, o.Table = byte(slave), register, Table(table)
	o.Type, o.Order, o.Role = Type(kind), Order(order), Role(role)
	return o, nil
}

// check puts the defaults in and says what cannot be.
func (o *Options) check() error {
	if o.Slave == 0 {
		o.Slave = 1
	}
	switch {
	case o.Slave > 247:
		return fmt.Errorf("bus device %d: they are numbered 1 to 247", o.Slave)
	case o.Register < 0 || o.Register+o.Type.registers() > 65536:
		return fmt.Errorf("register %d of type %v: registers are numbered 0 to 65535", o.Register, o.Type)
	case o.Role != Lift && o.Crank == nil:
		return fmt.Errorf("role=%v needs to know the encoder: add counts=, as in counts=2400", o.Role)
	case o.Role == Counts && o.Type == Float32:
		return errors.New("role=counts: counts are whole, and float32 is not")
	case o.Role == Counts && o.Crank.Step() == 0:
		return errors.New("role=counts, and how many make a turn was not said: add counts=, as in counts=2400")
	case o.Role == Angle && o.Step == 0 && o.Type != Float32:
		return fmt.Errorf("an angle as %v, and what one of it is worth was not said: add step=, as in step=0.01", o.Type)
	case o.Role == Lift && o.Scale == 0 && o.Unit == measure.NoUnit && o.Type != Float32:
		return fmt.Errorf("a lift as %v, and what one of it is worth was not said: add scale=, as in scale=0.001mm", o.Type)
	}
	if o.Role == Angle && o.Step == 0 {
		o.Step = measure.Degree
	}
	return nil
}
