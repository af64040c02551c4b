// Package lift turns a finished trace into findings.
package lift
