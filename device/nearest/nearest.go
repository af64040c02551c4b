// Package nearest finds the word that a misspelt one most likely stands for, so
// that a refusal can say what was meant.
package nearest

// Word returns the word of words that text most likely misspells: the one
// at the least edit distance, if that is at most two and under half of the
// word. Otherwise "".
func Word(text string, words []string) string {
	best, least := "", 3
	for _, w := range words {
		if len(text) > 2*len(w)+2 {
			continue // also for the sake of a text without end
		}
		if d := Distance(text, w); d < least && 2*d < max(len(w), 3) {
			best, least = w, d
		}
	}
	return best
}

// Distance counts the bytes to insert, delete, change or swap with their
// neighbour to make b out of a (optimal string alignment).
func Distance(a, b string) int {
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := range len(a) {
		row[0] = i + 1
		for j := range len(b) {
			cost := 1
			if a[i] == b[j] {
				cost = 0
			}
			row[j+1] = min(last[j]+cost, last[j+1]+1, row[j]+1)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
