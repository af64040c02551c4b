package simulator

import (
	"net"
	"sync"
	"time"
)

// tcpPlug is a serial-over-network bridge: whoever connects gets the bytes from
// then on.
type tcpPlug struct {
	name string
	asks chan []byte

	mu       sync.Mutex
	listener net.Listener // nil while unplugged
	conns    map[net.Conn]struct{}
	closed   bool
	running  sync.WaitGroup
}

// patience is how long a reader may keep the wire waiting before bytes are
// lost.
const patience = 250 * time.Millisecond

func openTCP() (plug, error) {
	p := &tcpPlug{name: "127.0.0.1:0", asks: make(chan []byte), conns: map[net.Conn]struct{}{}}
	if err := p.replug(); err != nil {
		return nil, err
	}
	return p, nil
}

func (p *tcpPlug) address() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return "tcp://" + p.name
}

func (p *tcpPlug) requests() chan []byte { return p.asks }

func (p *tcpPlug) replug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.closed || p.listener != nil {
		return nil
	}
	// The port is ours since the first time; now and then it takes a moment
	// for the system to let go of it.
	var err error
	for range 50 {
		if p.listener, err = net.Listen("tcp", p.name); err == nil {
			break
		}
		p.listener = nil
		time.Sleep(10 * time.Millisecond)
	}
	if err != nil {
		return err
	}
	p.name = p.listener.Addr().String()
	p.running.Add(1)
	go p.accept(p.listener)
	return nil
}

func (p *tcpPlug) accept(l net.Listener) {
	defer p.running.Done()
	for {
		c, err := l.Accept()
		if err != nil {
			return
		}
		p.mu.Lock()
		if p.listener != l {
			p.mu.Unlock()
			c.Close()
			return
		}
		p.conns[c] = struct{}{}
		p.running.Add(1)
		p.mu.Unlock()
		go p.listen(c)
	}
}

// listen takes what a reader writes.
func (p *tcpPlug) listen(c net.Conn) {
	defer p.running.Done()
	buf := make([]byte, 512)
	for {
		n, err := c.Read(buf)
		if n > 0 {
			p.asks <- append([]byte(nil), buf[:n]...)
		}
		if err != nil {
			p.drop(c)
			return
		}
	}
}

func (p *tcpPlug) drop(c net.Conn) {
	c.Close()
	p.mu.Lock()
	defer p.mu.Unlock()
	delete(p.conns, c)
}

func (p *tcpPlug) send(b []byte) {
	p.mu.Lock()
	conns := make([]net.Conn, 0, len(p.conns))
	for c := range p.conns {
		conns = append(conns, c)
	}
	p.mu.Unlock()
	for _, c := range conns {
		// A slow reader loses bytes; a dead one is found out by listen.
		_ = c.SetWriteDeadline(time.Now().Add(patience))
		_, _ = c.Write(b)
	}
}

func (p *tcpPlug) unplug() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.listener == nil {
		return nil
	}
	err := p.listener.Close()
	p.listener = nil
	for c := range p.conns {
		if t, ok := c.(*net.TCPConn); ok {
			_ = t.SetLinger(0) // a reset, as when a bridge loses its power
		}
		c.Close()
	}
	return err
}

func (p *tcpPlug) close() error {
	err := p.unplug()
	p.mu.Lock()
	already := p.closed
	p.closed = true
	p.mu.Unlock()
	if already {
		return nil
	}
	p.running.Wait()
	close(p.asks)
	return err
}
