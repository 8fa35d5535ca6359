package snapshot

import (
	"sync"
	"sync/atomic"

	"proofload/specdata"
)

// Cache keeps what was made from current records, by name. A value is given only
// for positions at which none of the records it was made from had changed.
type Cache[V any] struct {
	follower *Follower
	budget   int
	cost     func(V) int

	mu sync.RWMutex
	// Two generations: when young is full it becomes old, and what of old is asked
	// for moves back. It bounds memory without a list to lock on every hit.
	young, old map[specdata.Name]*kept[V]
	spent      int
}

// kept is a value that is true from one position at least until another.
type kept[V any] struct {
	value V
	uses  []specdata.Name
	from  int64
	until atomic.Int64
}

// NewCache makes a cache of at most about budget bytes.
func NewCache[V any](s *Follower, budget int, cost func(V) int) *Cache[V] {
	return &Cache[V]{follower: s, budget: budget, cost: cost, young: map[specdata.Name]*kept[V]{}}
}

// Get returns what is kept for a name and is true at a position that the follower's
// Head gave.
func (c *Cache[V]) Get(name specdata.Name, position int64) (value V, ok bool) {
	c.mu.RLock()
	k, young := c.young[name]
	if !young {
		k = c.old[name]
	}
	c.mu.RUnlock()
	if k == nil || position < k.from {
		return value, false
	}
	if until := k.until.Load(); until < position {
		if c.follower.changedAfter(k.uses, until) {
			return value, false
		}
		// Another reader may have gone further meanwhile; an earlier end is only
		// less known, never wrong.
		k.until.CompareAndSwap(until, position)
	}
	if !young {
		c.keep(name, k)
	}
	return k.value, true
}

// Put keeps a value made at a position from the named records.
func (c *Cache[V]) Put(name specdata.Name, value V, uses []specdata.Name, position int64) {
	k := &kept[V]{value: value, uses: uses, from: position}
	k.until.Store(position)
	c.keep(name, k)
}

func (c *Cache[V]) keep(name specdata.Name, k *kept[V]) {
	cost := c.cost(k.value) + 64*len(k.uses)
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.spent+cost > c.budget/2 {
		c.old, c.young, c.spent = c.young, map[specdata.Name]*kept[V]{}, 0
	}
	if _, ok := c.young[name]; !ok {
		c.spent += cost
	}
	c.young[name] = k
}
