package pages

import "bytes"

// Loose looks at every page of the file, whatever tree it may have belonged
// to, and yields the entries of all that read as leaves: what is left where a
// branch is gone, and older states of pages that were not yet used again. An
// entry comes without its bucket, any number of times, and may be long deleted:
// its own checksum has to say what it is worth. It stops when yield returns
// false. What was never written is passed over.
func (f *File) Loose(yield func(Item) bool) {
	for _, ps := range f.pageSizes() {
		found := false
		until := int64(0)
		for at := int64(0); at+headBytes <= f.size; at += ps {
			if at >= until {
				var from int64
				if from, until = written(f.r, at, f.size); from/ps*ps > at {
					at = from / ps * ps
				}
				if at+headBytes > f.size {
					break
				}
			}
			p, err := f.load(at, f.size-at, ps)
			if err != nil || p.id != uint64(at/ps) || p.kind != kindLeaf {
				continue
			}
			p.span = min((int64(p.overflow)+1)*ps, f.size-at)
			found = true
			if !p.loose(yield) {
				return
			}
		}
		if found {
			return
		}
	}
}

// Scan looks for mark in all bytes of the file, page or not, and lets cut say
// how many bytes of what begins there are wanted: these are skipped and yielded
// with where they stand. cut sees at least most bytes, or all that are left.
func (f *File) Scan(mark []byte, most int, cut func(b []byte) int, yield func(b []byte, at int64)) {
	const window = 1 << 20
	buf := make([]byte, min(f.size, int64(window+most)))
	until := int64(0)
	for base := int64(0); base < f.size; base += window {
		if base >= until {
			var from int64
			if from, until = written(f.r, base, f.size); from-base >= window {
				base = from / window * window
			}
		}
		n, _ := f.r.ReadAt(buf[:min(int64(len(buf)), f.size-base)], base)
		for at := 0; at < min(n, window); {
			i := bytes.Index(buf[at:n], mark)
			if i < 0 || at+i >= window {
				break
			}
			at += i
			if size := cut(buf[at:n]); size > 0 {
				yield(buf[at:at+size], base+int64(at))
				at += size
			} else {
				at++
			}
		}
	}
}

// pageSizes is the one that a meta gives, or those that systems use.
func (f *File) pageSizes() []int64 {
	if len(f.metas) > 0 {
		return []int64{f.metas[0].PageSize}
	}
	return []int64{4 << 10, 16 << 10, 64 << 10, 8 << 10}
}

// loose yields the entries that read, also behind ones that do not, and those
// of small buckets inside.
func (p *page) loose(yield func(Item) bool) bool {
	for i := range p.count {
		e, err := p.elem(i)
		if err != nil {
			continue
		}
		if e.flags&bucketFlag == 0 {
			if !yield(Item{Key: append([]byte{}, e.key...), Offset: p.at + e.valOff, Size: int(e.size)}) {
				return false
			}
			continue
		}
		head := p.bytes(e.valOff, min(e.size, 16))
		if len(head) < 16 || native.Uint64(head) != 0 {
			continue
		}
		in, err := p.f.load(p.at+e.valOff+16, e.size-16, e.size-16)
		if err != nil || in.kind != kindLeaf {
			continue
		}
		in.span = e.size - 16
		for j := range in.count {
			if e, err := in.elem(j); err == nil && e.flags&bucketFlag == 0 {
				if !yield(Item{Key: append([]byte{}, e.key...), Offset: in.at + e.valOff, Size: int(e.size)}) {
					return false
				}
			}
		}
	}
	return true
}
