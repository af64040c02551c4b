// Package capture is the live side: what the valve is doing now.
package capture
