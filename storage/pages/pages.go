// Package pages reads the pages of a bbolt file without trusting any of them.
//
// bbolt maps its file into memory and believes what it finds there: a flipped
// bit in a page can make it panic, run in circles, read beyond the file (which
// is a fatal signal) or, by way of the list of free pages, write over what is
// still wanted. This package answers before that: is every page what the tree
// says it is? It also finds what still reads in a file that is hurt.
//
// The layout (go.etcd.io/bbolt, file format version 2; integers in the order
// of the machine that wrote it):
//
//	page    id u64, kind u16 (1 branch, 2 leaf, 4 meta, 16 free list),
//	        count u16, overflow u32 (how many pages more it takes)
//	meta    pages 0 and 1: magic u32, version u32, page size u32, flags u32,
//	        root page u64, sequence u64, free list page u64, pages in use u64,
//	        transaction u64, FNV-1a 64 of all these
//	branch  count of {key offset u32, key size u32, page u64}, then the keys
//	leaf    count of {flags u32, key offset u32, key size u32, value size u32},
//	        then keys and values; flag 1: the value is a bucket
//	bucket  root page u64, sequence u64; with root page 0 a leaf page follows
//
// Offsets count from their own element. The newer meta that is whole rules.
//
// Nothing here panics whatever the bytes, memory is bounded by what is asked
// for, and the file is read by ReadAt alone.
package pages

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"hash/fnv"
	"io"
)

const (
	headBytes = 16
	elemBytes = 16
	metaBytes = 64

	kindBranch   = 1
	kindLeaf     = 2
	kindFreelist = 16

	magic        = 0xED0CDAED
	version      = 2
	bucketFlag   = 1
	noFreelist   = ^uint64(0)
	maxDepth     = 32
	maxKeyBytes  = 32 << 10
	maxPageBytes = 1 << 30
)

// ErrNoMeta says that neither meta page is whole.
var ErrNoMeta = errors.New("neither of its two head pages reads")

var native = binary.NativeEndian

// Meta is one of the two heads of a file.
type Meta struct {
	PageSize int64
	Root     uint64
	Freelist uint64
	Pages    uint64 // pages in use: all page numbers are below
	Tx       uint64
}

// File is a file under examination.
type File struct {
	r     io.ReaderAt
	size  int64
	metas []Meta // those that are whole, newest first
}

// Open looks for the meta pages. With ErrNoMeta it still returns a File, of
// which only Loose is of use.
func Open(r io.ReaderAt, size int64) (*File, error) {
	f := &File{r: r, size: size}
	if m, ok := f.metaAt(0); ok {
		f.metas = append(f.metas, m)
	}
	// The second meta stands one page in, and the page size is in the metas:
	// try what page sizes there are.
	for ps := int64(1 << 10); ps <= 1<<17 && ps < size; ps <<= 1 {
		m, ok := f.metaAt(ps)
		if !ok || m.PageSize != ps {
			continue
		}
		f.metas = append(f.metas, m)
		if len(f.metas) == 2 && f.metas[1].Tx > f.metas[0].Tx {
			f.metas[0], f.metas[1] = f.metas[1], f.metas[0]
		}
		break
	}
	if len(f.metas) == 0 {
		return f, ErrNoMeta
	}
	return f, nil
}

// Heads returns how many of the two head pages of a file are whole.
func Heads(r io.ReaderAt, pageSize int64) (whole int) {
	f := &File{r: r}
	for _, at := range []int64{0, pageSize} {
		if _, ok := f.metaAt(at); ok {
			whole++
		}
	}
	return whole
}

// newest returns the newer of the heads that are whole; the zero Meta where none is.
func (f *File) newest(pageSize int64) (m Meta) {
	for _, at := range []int64{0, pageSize} {
		if is, ok := f.metaAt(at); ok && is.Tx >= m.Tx {
			m = is
		}
	}
	return m
}

// FreeInside says whether all pages of the list of free pages lie inside the
// file as its newest head has it. A page whose head is hurt, and which therefore
// claims to be longer than it is, leaves pages in the list when it is freed that
// do not exist yet, and the transactions that follow would write there. The list
// is in order, so that its last entry tells.
func FreeInside(r io.ReaderAt, pageSize int64) error {
	f := &File{r: r, size: 1<<63 - 1}
	m := f.newest(pageSize)
	if m.PageSize == 0 || m.Freelist == noFreelist {
		return nil // who asks for the heads says so
	}
	at := int64(m.Freelist) * m.PageSize
	p, err := f.load(at, m.PageSize, headBytes+8)
	switch {
	case m.Freelist >= m.Pages:
		return errors.New("the list of free pages lies beyond the end of the file")
	case err != nil:
		return fmt.Errorf("the list of free pages: %w", err)
	case p.id != m.Freelist || p.kind != kindFreelist || uint64(p.overflow) >= m.Pages-m.Freelist:
		return errors.New("the list of free pages is not where it should be")
	}
	n, first := int64(p.count), at+headBytes
	if n == 0xffff && len(p.head) >= headBytes+8 {
		n, first = int64(min(native.Uint64(p.head[headBytes:]), maxPageBytes)), first+8
	}
	if n == 0 {
		return nil
	}
	var b [8]byte
	if _, err := r.ReadAt(b[:], first+(n-1)*8); err != nil {
		return fmt.Errorf("the list of free pages cannot be read (%w)", err)
	}
	if last := native.Uint64(b[:]); last >= m.Pages {
		return fmt.Errorf("the list of free pages names page %d, which there is not", last)
	}
	return nil
}

func (f *File) metaAt(at int64) (Meta, bool) {
	var b [headBytes + metaBytes]byte
	if n, _ := f.r.ReadAt(b[:], at); n < len(b) {
		return Meta{}, false
	}
	m := b[headBytes:]
	sum := fnv.New64a()
	sum.Write(m[:56])
	if native.Uint32(m) != magic || native.Uint32(m[4:]) != version || native.Uint64(m[56:]) != sum.Sum64() {
		return Meta{}, false
	}
	meta := Meta{
		PageSize: int64(native.Uint32(m[8:])),
		Root:     native.Uint64(m[16:]),
		Freelist: native.Uint64(m[32:]),
		Pages:    native.Uint64(m[40:]),
		Tx:       native.Uint64(m[48:]),
	}
	ps := meta.PageSize
	return meta, ps >= 1<<10 && ps <= 1<<17 && ps&(ps-1) == 0
}

// LooksLikeOne says whether the file begins as a bbolt file does, whole or not.
func (f *File) LooksLikeOne() bool {
	var b [headBytes + 4]byte
	n, _ := f.r.ReadAt(b[:], 0)
	return n == len(b) && native.Uint32(b[headBytes:]) == magic
}

// Metas returns the whole metas, newest first.
func (f *File) Metas() []Meta { return f.metas }

// Size returns the length of the file.
func (f *File) Size() int64 { return f.size }

// Sum returns a CRC-32C over what rules all else: both metas and the list of
// free pages. Every commit changes it. A file shorter than its metas say has none.
func (f *File) Sum() (uint32, error) {
	if len(f.metas) < 2 {
		return 0, ErrNoMeta
	}
	table := crc32.MakeTable(crc32.Castagnoli)
	m := f.metas[0]
	b := make([]byte, 2*m.PageSize)
	if _, err := f.r.ReadAt(b, 0); err != nil {
		return 0, err
	}
	sum := crc32.Checksum(b, table)
	if m.Freelist == noFreelist {
		return sum, nil
	}
	if m.Freelist >= m.Pages || m.Pages > uint64(f.size/m.PageSize) {
		return 0, errors.New("the file is cut off")
	}
	at := int64(m.Freelist) * m.PageSize
	p, err := f.load(at, f.size-at, m.PageSize)
	if err != nil {
		return 0, err
	}
	if uint64(p.overflow) >= m.Pages-m.Freelist {
		return 0, errors.New("the list of free pages runs beyond the end of the file")
	}
	list := io.NewSectionReader(f.r, at, (int64(p.overflow)+1)*m.PageSize)
	for {
		n, err := list.Read(b)
		sum = crc32.Update(sum, table, b[:n])
		if err == io.EOF {
			return sum, nil
		} else if err != nil {
			return 0, err
		}
	}
}

// A Hurt is one page that is not what it should be.
type Hurt struct {
	Page   uint64
	Bucket string // where in the tree; "" above the buckets
	Why    string
}

// Error prints the hurt in words.
func (h *Hurt) Error() string {
	if h.Bucket != "" {
		return fmt.Sprintf("page %d, in %q: %s", h.Page, h.Bucket, h.Why)
	}
	return fmt.Sprintf("page %d: %s", h.Page, h.Why)
}

// An Item is a key with its value, which stands in the file.
type Item struct {
	Bucket string // "" when it was found loose
	Key    []byte // its own memory
	Offset int64
	Size   int
	// Sequence, on the item with a nil Key that goes before each bucket's.
	Sequence uint64
}

// Value reads the value of an item.
func (f *File) Value(it Item) ([]byte, error) {
	b := make([]byte, it.Size)
	if _, err := f.r.ReadAt(b, it.Offset); err != nil {
		return nil, err
	}
	return b, nil
}

// page is one page under examination, with its first bytes at hand.
type page struct {
	f        *File
	at       int64 // in the file
	span     int64 // bytes, with overflow
	kind     uint16
	count    int
	overflow uint32
	id       uint64
	head     []byte
}

// load reads the beginning of the page at at, of which limit bytes may be its.
func (f *File) load(at, limit, first int64) (page, error) {
	p := page{f: f, at: at}
	if at < 0 || min(first, limit, f.size-at) < headBytes {
		return p, errors.New("it is cut off")
	}
	p.head = make([]byte, min(first, limit, f.size-at))
	n, err := f.r.ReadAt(p.head, at)
	if n < headBytes || err != nil && err != io.EOF {
		return p, fmt.Errorf("it cannot be read (%v)", err)
	}
	p.head = p.head[:n]
	p.parse()
	return p, nil
}

// parse reads the head of a page whose first bytes are at hand; of less than a head it
// makes a page of no kind.
func (p *page) parse() {
	if len(p.head) < headBytes {
		return
	}
	p.id = native.Uint64(p.head)
	p.kind = native.Uint16(p.head[8:])
	p.count = int(native.Uint16(p.head[10:]))
	p.overflow = native.Uint32(p.head[12:])
}

// bytes returns n bytes from offset off of the page, nil when the page does
// not reach so far. They may share memory with the page.
func (p *page) bytes(off, n int64) []byte {
	if off < 0 || n < 0 || off+n > p.span || off+n < off {
		return nil
	}
	if off+n <= int64(len(p.head)) {
		return p.head[off : off+n : off+n]
	}
	b := make([]byte, n)
	if _, err := p.f.r.ReadAt(b, p.at+off); err != nil {
		return nil
	}
	return b
}

// elem is one element of a branch or a leaf, its key read.
type elem struct {
	key    []byte
	child  uint64 // branch
	flags  uint32 // leaf
	keyOff int64  // in the page
	valOff int64
	size   int64
}

// elem reads element i and proves that it lies inside the page.
func (p *page) elem(i int) (elem, error) {
	var e elem
	at := int64(headBytes + i*elemBytes)
	b := p.bytes(at, elemBytes)
	if b == nil {
		return e, fmt.Errorf("entry %d lies outside", i)
	}
	var pos, keySize int64
	if p.kind == kindBranch {
		pos, keySize = int64(native.Uint32(b)), int64(native.Uint32(b[4:]))
		e.child = native.Uint64(b[8:])
	} else {
		e.flags = native.Uint32(b)
		pos, keySize = int64(native.Uint32(b[4:])), int64(native.Uint32(b[8:]))
		e.size = int64(native.Uint32(b[12:]))
	}
	start := at + pos
	if keySize > maxKeyBytes || start < int64(headBytes+p.count*elemBytes) || start+keySize+e.size > p.span {
		return e, fmt.Errorf("entry %d lies outside", i)
	}
	if e.flags&^bucketFlag != 0 {
		return e, fmt.Errorf("entry %d has unknown marks", i)
	}
	if e.key = p.bytes(start, keySize); e.key == nil {
		return e, fmt.Errorf("the key of entry %d cannot be read", i)
	}
	e.keyOff, e.valOff = start, start+keySize
	return e, nil
}
