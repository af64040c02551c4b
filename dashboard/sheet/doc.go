// Package sheet writes the build sheet of an engine: one HTML file that needs
// nothing else, to print and sign, and a CSV of every number in it.
//
// [Gather] reads what is stored of an engine and works out what follows from
// it; [Write] and [WriteCSV] are pure functions of the [Data] it returns, so
// that a sheet made again of the same data is the same to the byte.
//
// The newest trace with a whole opening speaks for a valve, the newest of those
// with a crank angle for its timing; the newest question for a rod, a clearance
// or a spring. Uncertainties are expanded, k = 2 (JCGM
// 100:2008), and are printed beside what they belong to. What was not measured
// stays empty and is listed: a blank place is a question, a zero would be an
// answer.
//
// The sheet holds no script and loads nothing; text that people typed is
// escaped, in the CSV also against being taken for a formula.
package sheet
