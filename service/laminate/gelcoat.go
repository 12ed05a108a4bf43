package laminate

// Figures of the gelcoat film.
const (
	// DefaultGelcoatDensity is that of pigmented liquid gelcoat, kg/m³: 1 kg covers 1.6 m² at 0.5 mm.
	// Source: supplier's guide sheet; 1/(1.6 × 0.5e-3) = 1250.
	DefaultGelcoatDensity = 1250.0
	// DefaultFilm is the wet film aimed at, mm, and FilmMin, FilmMax its range.
	// Source: supplier's guide sheets (0.4 to 0.6 mm; 15 to 25 mil).
	DefaultFilm = 0.5
	FilmMin     = 0.40
	FilmMax     = 0.60
	// DefaultTransferSpray and DefaultTransferBrush are the share of the gelcoat that stays on the mold.
	// Common practice, no source.
	DefaultTransferSpray = 0.70
	DefaultTransferBrush = 0.90
)

// Gelcoat is the pigmented surface coat.
type Gelcoat struct {
	Key, Name string
	// Density is that of the liquid, kg/m³; 0 stands for DefaultGelcoatDensity.
	Density float64
	// Film is the wet film, mm; 0 stands for DefaultFilm.
	Film float64
	Catalyzed
	// TransferSpray and TransferBrush are in (0, 1]; 0 stands for the defaults.
	TransferSpray, TransferBrush float64
	Source                       string
}

func (g Gelcoat) density() float64 { return orDefault(g.Density, DefaultGelcoatDensity) }
func (g Gelcoat) film() float64    { return orDefault(g.Film, DefaultFilm) }

func orDefault(v, def float64) float64 {
	if v == 0 {
		return def
	}
	return v
}
