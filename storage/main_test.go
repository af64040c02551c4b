package storage

import (
	"os"
	"strconv"
	"testing"

	"go.uber.org/goleak"
)

// The tests that kill a process or fill its disk run this binary again, with
// the part to play in childVar.
const childVar = "LOBESCRIBE_TEST_CHILD"

func TestMain(m *testing.M) {
	switch os.Getenv(childVar) {
	case "": // VerifyTestMain ends the process
		goleak.VerifyTestMain(m) // a store that is closed leaves no goroutine behind
	case "append":
		os.Exit(appendForEver(os.Args[1]))
	case "upgrade":
		os.Exit(upgradeOnce(os.Args[1]))
	case "fill":
		os.Exit(fillDisk(os.Args[1]))
	}
	os.Exit(3)
}

// long returns how often a test repeats itself: short as a rule, many times
// with LOBESCRIBE_LONG=1, or that often with any other number.
func long(t testing.TB, short, many int) int {
	t.Helper()
	switch text := os.Getenv("LOBESCRIBE_LONG"); text {
	case "":
		return short
	case "1":
		return many
	default:
		n, err := strconv.Atoi(text)
		if err != nil {
			t.Fatalf("LOBESCRIBE_LONG=%q is not a number", text)
		}
		return n
	}
}
