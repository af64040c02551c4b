// Package tidy writes a line of an instrument in plain decimals.
//
// Instruments write one number in many ways: with an exponent, with thousands set
// apart, as a fraction of an inch, as degrees, minutes and seconds; and terminals
// colour it. A line that does not read as it stands is tidied by [Line] and read again,
// so that formats and the finder know plain decimals only.
package tidy
