// Package nearest finds the word that a misspelt one most likely stands for, so
// that a refusal can say what was meant.
package nearest

// Word returns the word of words that text most likely misspells: the one
// at the least edit distance, if that is at most two and under half of the
// word. Otherwise "".
func Word(text string, words []string) string {
	best, least := "", 3
	for _, w := range words {
		if d := editDistance(text, w); d < least && 2*d < max(len(w), 3) {
			best, least = w, d
		}
	}
	return best
}

// editDistance counts the bytes to insert, delete, change or swap with their
// neighbour to make b out of a.
func editDistance(a, b string) int {
	if len(a) > 32 || len(b) > 32 {
		return 64
	}
	var rows [33][33]int
	for i := range len(a) + 1 {
		rows[i][0] = i
	}
	for j := range len(b) + 1 {
		rows[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			d := min(rows[i-1][j]+1, rows[i][j-1]+1, rows[i-1][j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d = min(d, rows[i-2][j-2]+1)
			}
			rows[i][j] = d
		}
	}
	return rows[len(a)][len(b)]
}
