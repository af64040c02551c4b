// Package formats holds the line formats that are built in, and reads and writes a
// person's own as TOML.
//
// A [Set] answers by name, a person's own first. Formats are made and kept here;
// package lines decodes by them.
package formats
