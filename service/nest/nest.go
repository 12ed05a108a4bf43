package nest

// MaxPieces is the largest number of panels, quantities counted, that one call
// takes. Far above any shop job; it bounds memory and the first plan's time.
const MaxPieces = 1000

// MaxSide is the largest side in mm of a panel or sheet. Rolls and boards of the
// trade stay well below; up to here every coordinate is an exact whole number
// of grid steps in a float64.
const MaxSide = 100_000.0

// DefaultBudget is the number of search steps taken when Rules.Budget is zero.
const DefaultBudget = 2_000_000

// Panel is a rectangle to be cut, Quantity times.
type Panel struct {
	Name     string
	Length   float64 // mm, along the sheet's length unless turned
	Width    float64 // mm
	Quantity int
	Turn     bool // may be turned by 90 degrees (no grain)
}

// Sheet is a stock size.
type Sheet struct {
	Name      string
	Length    float64 // mm as delivered, trim included
	Width     float64 // mm as delivered, trim included
	Available int     // sheets at hand; 0 means unlimited
	Cost      float64 // of one sheet, any currency; zero when it does not matter
}

// Rules are the saw's and the search's settings.
type Rules struct {
	Kerf   float64 // mm the blade removes between two parts
	Trim   float64 // mm taken off each of the four sheet edges
	Budget int     // search steps; 0 means DefaultBudget, 1 the first plan only
}

// Placement is where one panel lies.
type Placement struct {
	Panel  string  // Panel.Name
	Index  int     // of the panel in the slice given
	X, Y   float64 // mm, lower left corner from the sheet's corner
	Length float64 // mm along x as it lies
	Width  float64 // mm along y as it lies
	Turned bool
}

// Offcut is a free rectangle that the cut list leaves in one piece. The zero
// Offcut means there is none.
type Offcut struct {
	X, Y          float64 // mm, lower left corner from the sheet's corner
	Length, Width float64 // mm along x and y
}

// Area is the offcut's area in mm².
func (o Offcut) Area() float64 { return o.Length * o.Width }

// Layout is one sheet and what is cut from it.
type Layout struct {
	Sheet       Sheet
	Placements  []Placement
	Cuts        []Cut // in an order a sawyer can follow
	Offcut      Offcut
	Utilization float64 // area of the panels over area of the sheet as delivered
}

// Status says how the search ended.
type Status int

const (
	// Optimal: all panels placed, and no plan can use fewer sheets.
	Optimal Status = iota
	// BudgetReached: the search stopped at its budget (or ran out of moves to
	// try) before the sheets used met the bound. When the stock is limited
	// some panels may be left in Unplaced; fitting them was not ruled out.
	BudgetReached
	// Infeasible: the stock at hand provably cannot hold all panels; the plan
	// holds what was placed, Unplaced the rest.
	Infeasible
)

// String is the status in words.
func (s Status) String() string {
	switch s {
	case Optimal:
		return "optimal"
	case BudgetReached:
		return "budget reached"
	case Infeasible:
		return "infeasible"
	}
	return "unknown"
}

// Plan is the answer.
type Plan struct {
	Layouts   []Layout // fullest sheet first, the one with the offcut to keep last
	Bound     int      // no plan for all panels uses fewer sheets
	AreaBound float64  // kerf-widened panel area over that of the largest sheet; Bound is at least its ceiling
	Status    Status
	Unplaced  []Panel // Quantity counts the panels missing
	Steps     int     // search steps counted
}

// Sheets is the number of sheets used.
func (p Plan) Sheets() int { return len(p.Layouts) }
