package packet

import (
	"fmt"
	"slices"
	"sort"
	"time"

	"hatchwright/service/drawing"
	"hatchwright/service/quantity"
	"hatchwright/service/routing"
	"hatchwright/service/schedule"
)

// clock is how planned times are written.
const clock = "Mon 2 Jan 15:04"

// oneByOne is the most pieces whose operations stand in a line each; of more, an
// operation is one line with a box for each piece. Shop rule, common practice: a
// list that hangs over the bench is a page or two.
const oneByOne = 4

// task is an operation that is done for every piece of a run alike.
type task struct {
	name  string
	steps []routing.Step // in the order of their planned start
}

// operations lists the work in the order of its planned start.
func (w *writer) operations() {
	lt := w.Result.LeadTime
	planned := map[string]schedule.Placement{}
	for _, p := range lt.Placements {
		planned[p.Operation] = p
	}
	critical := map[string]bool{}
	for _, k := range lt.Critical.Path {
		critical[k] = true
	}
	once, repeated := tasks(lt.Steps, planned)
	w.doc.Page("Operations")
	w.doc.Say("In the order of their planned start, by the shop's clock, "+w.behind()+".", drawing.Plain, drawing.Bold)
	note := "Write in when each was begun and ended and the hours that it took, of all people together. A * marks what decides the finish: it must not wait. A ° marks what is done in one go: it is never left half wet over a break longer than a meal."
	if len(repeated) > 0 {
		note += " What is done for every piece alike is one line, with a numbered box for each piece: write in the hours when it is done."
	}
	switch {
	case w.Plan == nil:
		note += " The packet of an order has the times behind the other work."
	case w.Plan.LeftOut > 0:
		note += fmt.Sprintf(" Left out: %d operations that are finished, or of molds that are there.", w.Plan.LeftOut)
	}
	w.doc.Say(note, drawing.Plain, drawing.Regular)
	if len(once) > 0 {
		if len(repeated) > 0 {
			w.doc.Heading("Done once, or for a few pieces")
		}
		w.oneByOne(once, planned, critical)
	}
	if len(repeated) > 0 {
		w.doc.Heading("Done for every piece")
		w.byPiece(repeated, planned, critical)
		w.doc.Heading("Piece by piece")
		w.pieceTimes(lt.Steps, planned)
	}
}

// tasks parts the steps in those that are listed by themselves and those that come
// for more than [oneByOne] pieces, both by their planned start.
func tasks(all []routing.Step, planned map[string]schedule.Placement) (once []routing.Step, repeated []task) {
	steps := slices.Clone(all)
	sort.SliceStable(steps, func(i, j int) bool { return planned[steps[i].Key].Start.Before(planned[steps[j].Key].Start) })
	var list []task
	at := map[string]int{}
	for _, s := range steps {
		i, ok := at[s.Task]
		if !ok || s.Piece == 0 {
			i = len(list)
			at[s.Task] = i
			list = append(list, task{name: s.Task})
		}
		list[i].steps = append(list[i].steps, s)
	}
	few := map[string]bool{}
	for _, t := range list {
		if len(t.steps) > oneByOne {
			repeated = append(repeated, t)
			continue
		}
		for _, s := range t.steps {
			few[s.Key] = true
		}
	}
	for _, s := range steps {
		if few[s.Key] {
			once = append(once, s)
		}
	}
	return once, repeated
}

// worker is where a step is done, and by how many people.
func worker(s routing.Step) string {
	if s.Crew > 1 {
		return fmt.Sprintf("%s, %d people", s.WorkCenter, s.Crew)
	}
	return s.WorkCenter
}

// marked is the name of an operation with what is to be minded of it.
func marked(name string, critical, unbroken bool) string {
	if critical {
		name = "* " + name
	}
	if unbroken {
		name += " °"
	}
	return name
}

// oneByOne lists steps in a line each.
func (w *writer) oneByOne(steps []routing.Step, planned map[string]schedule.Placement, critical map[string]bool) {
	var rows [][]string
	for _, s := range steps {
		p := planned[s.Key]
		wait := ""
		if s.Wait > 0 {
			wait = "then " + hours(s.Wait.Hours())
		}
		rows = append(rows, []string{marked(s.Key, critical[s.Key], s.Unbroken), worker(s), hours(s.Hours), wait, w.at(p.Start).Format(clock), w.at(p.LaborEnd).Format(clock), "", "", ""})
	}
	w.doc.Table([]drawing.Column{{Title: "operation", Share: 34}, {Title: "at", Share: 16}, {Title: "planned", Share: 9, Right: true}, {Title: "waits", Share: 13, Right: true}, {Title: "starts", Share: 16}, {Title: "ends", Share: 16},
		{Title: "began", Share: 11, Box: true}, {Title: "ended", Share: 11, Box: true}, {Title: "hours", Share: 8, Box: true}}, rows)
}

// byPiece lists tasks in a line each, with a box for every piece.
func (w *writer) byPiece(list []task, planned map[string]schedule.Placement, critical map[string]bool) {
	span := func(low, high float64) string {
		if hours(low) == hours(high) {
			return hours(low)
		}
		return quantity.Decimal(low, 2) + " to " + hours(high)
	}
	var rows []drawing.Tally
	for _, t := range list {
		s := t.steps[0]
		first, last := planned[s.Key].Start, time.Time{}
		least, most, waitLeast, waitMost := s.Hours, s.Hours, s.Wait, s.Wait
		decides := false
		byNumber := slices.Clone(t.steps)
		slices.SortStableFunc(byNumber, func(a, b routing.Step) int { return a.Piece - b.Piece })
		var boxes []string
		for _, s := range byNumber {
			if end := planned[s.Key].LaborEnd; end.After(last) {
				last = end
			}
			least, most = min(least, s.Hours), max(most, s.Hours)
			waitLeast, waitMost = min(waitLeast, s.Wait), max(waitMost, s.Wait)
			decides = decides || critical[s.Key]
			boxes = append(boxes, marked(fmt.Sprint(s.Piece), critical[s.Key], false))
		}
		wait := ""
		if waitMost > 0 {
			wait = "then " + span(waitLeast.Hours(), waitMost.Hours())
		}
		rows = append(rows, drawing.Tally{Cells: []string{marked(t.name, decides, s.Unbroken), worker(s), span(least, most), wait, w.at(first).Format(clock), w.at(last).Format(clock)}, Boxes: boxes})
	}
	w.doc.Tallies([]drawing.Column{{Title: "operation", Share: 34}, {Title: "at", Share: 20}, {Title: "planned, each", Share: 17, Right: true}, {Title: "waits", Share: 18, Right: true}, {Title: "first starts", Share: 20}, {Title: "last ends", Share: 20}}, rows)
}

// pieceTimes lists from when each piece is in its molds and when the last work on it
// ends, three pieces in a line, down the columns. Glass is cut long before.
func (w *writer) pieceTimes(steps []routing.Step, planned map[string]schedule.Placement) {
	const across = 3
	type span struct{ from, to time.Time }
	spans := map[int]span{}
	var numbers []int
	for _, s := range steps {
		if s.Piece == 0 {
			continue
		}
		p := planned[s.Key]
		k, ok := spans[s.Piece]
		if !ok {
			numbers = append(numbers, s.Piece)
		}
		if s.Operation.Mold != "" && (k.from.IsZero() || p.Start.Before(k.from)) {
			k.from = p.Start
		}
		if p.LaborEnd.After(k.to) {
			k.to = p.LaborEnd
		}
		spans[s.Piece] = k
	}
	slices.Sort(numbers)
	var columns []drawing.Column
	for range across {
		columns = append(columns, drawing.Column{Title: "piece", Share: 7, Right: true}, drawing.Column{Title: "in a mold from", Share: 28}, drawing.Column{Title: "done by", Share: 28})
	}
	high := (len(numbers) + across - 1) / across
	rows := make([][]string, high)
	for i := range rows {
		for k := range across {
			if at := k*high + i; at < len(numbers) {
				n, from := numbers[at], "out of it"
				if k := spans[n]; !k.from.IsZero() {
					from = w.at(k.from).Format(clock)
				}
				rows[i] = append(rows[i], fmt.Sprint(n), from, w.at(spans[n].to).Format(clock))
			} else {
				rows[i] = append(rows[i], "", "", "")
			}
		}
	}
	w.doc.Table(columns, rows)
}
