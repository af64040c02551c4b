package find

// Keeps is how many bytes and chunks are kept.
func (f *Finder) Keeps() (bytes, chunks int) { return len(f.kept), len(f.chunks) }

// Most is how many of each may be.
const Most = findKeep
