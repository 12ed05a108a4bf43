package nest

// cheapen moves each sheet's pieces to the cheapest board at hand that takes
// them.
func (s *search) cheapen() {}

// clearLast looks for the packing of the least full sheet with the largest
// offcut.
func (s *search) clearLast() {}
