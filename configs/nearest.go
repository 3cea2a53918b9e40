package configs

import "strings"

// nearestWord finds the one word that a slip or two turns into another.
func nearestWord(word string, words []string) string {
	best, limit := "", 3
	for _, w := range words {
		if d := editDistance(strings.ToLower(word), w); d < limit && d < len(w)-1 {
			best, limit = w, d
		}
	}
	return best
}

// editDistance counts insertions, deletions and exchanges of characters.
func editDistance(a, b string) int {
	if len(a) > 64 {
		return len(a)
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		before := row[0]
		row[0] = i
		for j := 1; j <= len(b); j++ {
			d := before + boolInt(a[i-1] != b[j-1])
			before = row[j]
			row[j] = min(d, row[j]+1, row[j-1]+1)
		}
	}
	return row[len(b)]
}
