//go:build !linux

package storage

func inode(string) (string, bool) { return "", false }
