package web

import (
	"fmt"
	"html/template"
	"slices"
	"strings"

	"proofload/specdata"
)

// node is a thing of an assembly in the drawing of its order.
type node struct {
	id, title string
	behind    []string
	level     int
}

// orderOf draws the order in which the things of an assembly come off: each on a line
// under everything that must be away first, joined to it. Things that wait for each
// other have no order; they stand last, at the level they reached.
func orderOf(a *specdata.Assembly) template.HTML {
	var nodes []*node
	byID := map[string]*node{}
	add := func(id, title string, behind []string) {
		n := &node{id: id, title: title, behind: behind}
		nodes = append(nodes, n)
		byID[id] = n
	}
	for i := range a.Parts {
		add(a.Parts[i].ID, a.Parts[i].Title, a.Parts[i].Behind)
	}
	for i := range a.Joints {
		add(a.Joints[i].ID, a.Joints[i].Title, a.Joints[i].Behind)
	}
	for i := range a.Connections {
		add(a.Connections[i].ID, a.Connections[i].Title, a.Connections[i].Behind)
	}
	for i := range a.Clips {
		add(a.Clips[i].ID, a.Clips[i].Title, a.Clips[i].Behind)
	}
	for range nodes { // longest way, at most as many rounds as there are things
		moved := false
		for _, n := range nodes {
			for _, id := range n.behind {
				if b := byID[id]; b != nil && b.level >= n.level && b.level < len(nodes) {
					n.level, moved = b.level+1, true
				}
			}
		}
		if !moved {
			break
		}
	}
	slices.SortStableFunc(nodes, func(a, b *node) int { return a.level - b.level })
	row := map[string]int{}
	for i, n := range nodes {
		row[n.id] = i
	}
	const line, indent, first = 30.0, 14.0, 18.0
	x := func(n *node) float64 { return 10 + indent*float64(min(n.level, 8)) }
	y := func(i int) float64 { return first + line*float64(i) }
	var b strings.Builder
	fmt.Fprintf(&b, `<svg class="order" viewBox="0 0 %g %g" role="img" aria-label="What comes off after what">`, drawnWidth, y(len(nodes)-1)+14)
	for i, n := range nodes {
		for _, id := range n.behind {
			if p := byID[id]; p != nil && row[id] < i {
				fmt.Fprintf(&b, `<path class="edge" d="M%.1f %.1f C%.1f %.1f %.1f %.1f %.1f %.1f"/>`, x(p), y(row[id]), x(p), y(row[id])+line*.8, x(p), y(i), x(n), y(i))
			}
		}
	}
	for i, n := range nodes {
		fmt.Fprintf(&b, `<circle class="dot" cx="%.1f" cy="%.1f" r="5"/><text x="%.1f" y="%.1f">%s</text>`, x(n), y(i), x(n)+10, y(i)+4, template.HTMLEscapeString(cut(n.title, int((drawnWidth-x(n)-10)/6.4))))
	}
	b.WriteString(`</svg>`)
	return template.HTML(b.String())
}

// cut shortens a text to a number of letters.
func cut(s string, n int) string {
	if r := []rune(s); len(r) > n && n > 1 {
		return string(r[:n-1]) + "…"
	}
	return s
}
