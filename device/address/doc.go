// Package address reads and prints the addresses of devices: by what one is reached,
// and behind a question mark how it speaks.
//
// [Parse] reads one and says what is wrong with it and what is allowed;
// [Address.String] prints what Parse reads again. The table of keys ([Keys]) is the
// one place that knows them, and [Manual] is printed from it. Nothing is opened here,
// and whether a format exists is asked elsewhere.
package address
