package main

import "time"

// spent returns what a process has cost: processor time and bytes in memory.
func spent(p *process) (cpu time.Duration, resident int64, ok bool) {
	cpu, resident = p.costs()
	return cpu, resident, true
}
