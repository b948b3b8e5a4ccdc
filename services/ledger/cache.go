package ledger

import "strings"

// cacheBytes bounds each of the cache's two halves.
const cacheBytes = 8 << 20

// remembered is what the cache knows of a row: its verified value, or that there is none.
type remembered struct {
	row row
	ok  bool
}

// cache keeps rows of views that the writer used lately, so that deciding and folding seldom ask the store. It belongs
// to the writer, which changes every row there is, and always agrees with the last published commit. Rows move from the
// older half to the younger when used; when the younger is full the older is dropped.
type cache struct {
	young, old map[string]map[string]remembered // by space and key
	bytes      int                              // of young
}

func newCache() *cache { return &cache{young: map[string]map[string]remembered{}} }

func (c *cache) get(space, key string) (remembered, bool) {
	if r, ok := c.young[space][key]; ok {
		return r, true
	}
	r, ok := c.old[space][key]
	if ok {
		c.put(space, key, r)
	}
	return r, ok
}

func (c *cache) put(space, key string, r remembered) {
	const each = 128 // what a map takes for a row beyond its bytes, roughly
	if c.bytes > cacheBytes {
		c.old, c.young, c.bytes = c.young, map[string]map[string]remembered{}, 0
	}
	in := c.young[space]
	if in == nil {
		in = map[string]remembered{}
		c.young[space] = in
	}
	in[key] = r
	c.bytes += len(key) + len(r.row.value) + each
}

// apply takes over what a layer changed, once it is committed.
func (c *cache) apply(l *layer) {
	_ = l.each(func(space, key string, change change) error {
		if strings.HasPrefix(space, spaceView) {
			c.put(space, key, remembered{change.row, change.stored != nil})
		}
		return nil
	})
}

// cached is a snapshot read through the cache.
type cached struct {
	*snapshot
	cache *cache
}

func (c cached) get(space, key string) (row, bool, error) {
	if !strings.HasPrefix(space, spaceView) {
		return c.snapshot.get(space, key)
	}
	if r, ok := c.cache.get(space, key); ok {
		return r.row, r.ok, nil
	}
	r, ok, err := c.snapshot.get(space, key)
	if err == nil {
		c.cache.put(space, key, remembered{r, ok})
	}
	return r, ok, err
}
