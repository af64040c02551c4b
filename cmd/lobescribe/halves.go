package main

import (
	"log/slog"
	"os"
	"path/filepath"
)

// clearHalves takes away what a program that was killed left half written
// beside the store at path: copies that never got their name. The store must be
// open, so that none of them is under way.
func clearHalves(path string, log *slog.Logger) {
	dir, store := filepath.Split(path)
	entries, err := os.ReadDir(filepath.Clean(dir))
	if err != nil {
		log.Warn("the store's folder was not searched for half copies", "error", err)
		return
	}
	for _, e := range entries {
		if !e.Type().IsRegular() || !isHalf(e.Name(), store) {
			continue
		}
		if err := os.Remove(filepath.Join(dir, e.Name())); err != nil {
			log.Warn("half a copy stays", "file", e.Name(), "error", err)
			continue
		}
		log.Info("half a copy taken away", "file", e.Name())
	}
}

// isHalf says whether a name is that of a copy under way, beside a store.
func isHalf(name, store string) bool {
	for _, pattern := range []string{
		"backup-*.part",                   // of a backup through the page; only Windows leaves them
		store + ".schema*.backup*.part-*", // of the copy before an upgrade
		store + ".repair-*",               // of a repair
	} {
		if ok, err := filepath.Match(pattern, name); ok && err == nil {
			return true
		}
	}
	return false
}
