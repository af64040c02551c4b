package capture

import (
	"sync"
)

type heard struct {
	mu       sync.Mutex
	messages []Message
}

func (h *heard) tell(m Message) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.messages = append(h.messages, m)
}

func of[M Message](h *heard) (all []M) {
	h.mu.Lock()
	defer h.mu.Unlock()
	for _, m := range h.messages {
		if v, ok := m.(M); ok {
			all = append(all, v)
		}
	}
	return all
}
