// Package replay plays a kept trace again through a follower of its own, at any speed,
// and tells the same messages as a live engine would. Nothing of it is kept.
package replay
