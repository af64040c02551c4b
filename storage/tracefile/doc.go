// Package tracefile reads and writes traces as text: CSV and JSON lines.
//
// CSV has a header row and a point as the decimal sign:
//
//	t_s,lift_mm,angle_deg
//	0.01,-0.0127,106.35
//	0.02,,106.5
//
// t_s is in seconds, lift_mm in millimetres, angle_deg in degrees. Either of
// lift and angle may be missing, as a column or in a cell. Lifts in inches or
// thou under lift_in or lift_thou, and times under t_ms or t_us, are taken and
// converted exactly. Other columns are kept out of the way.
//
// JSON lines has the same names, one object a line. It can carry what CSV
// cannot: notes, and the resolution of the instruments.
//
//	{"trace":{"resolution_mm":0.0127}}
//	{"t_s":0.01,"lift_mm":-0.0127}
//	{"note":{"t_s":0.02,"kind":"mark"}}
//
// What is promised: a trace written and read again has the same readings to
// the nanometre, the microdegree and the microsecond. Numbers are read as
// integers and never pass through floats; digits finer than that are rounded
// half away from zero. Memory is bounded by the longest line (64 KB).
//
// Readings must be in order of time. Readings of different quantities (an indicator's
// and an encoder's) may have the same time. Readings of one quantity that have the same
// time are spread evenly up to the next time, and [Reader.How] says so; those that the
// file numbers in a column or key "reading", as Write does where it must, stay at
// theirs. A pause in a CSV that is long against
// the usual step becomes a gap note.
//
// Every fault is a [*Fault] with its line and what to do about it.
package tracefile
