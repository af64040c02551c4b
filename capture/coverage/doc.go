// Package coverage holds every uncertainty that is printed against the truth: it
// has tests only.
//
// For each field whose name says _u_ there is a row: a simulation that draws an
// engine and a person at it from package model (which shares no code and no
// formula with what is judged), asks the calculation what that person would ask,
// and counts how often the figure with its U holds the truth. What the person
// does not tell is drawn as well: the bend of the rocker, heights taken off the
// centres, the repeat of a stop, run-out, slack, noise.
//
// A row passes when U covers 95 of 100, give or take three and what the number of
// runs leaves, and is no wider than twice what would have covered them. A test
// walks the answers' types and the JSON Schemas and fails for an uncertainty
// without a row.
//
//	go test ./capture/coverage -v                                  # 200 runs a row
//	LOBESCRIBE_COVERAGE=5000 go test ./capture/coverage -v -timeout 60m
package coverage
