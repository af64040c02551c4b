package measure

// CommonDivisor is the greatest number that divides both without a rest (Euclid);
// of 0 and b it is b. The sign is that of Go's remainder.
func CommonDivisor[T ~int64 | ~uint64](a, b T) T {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}
