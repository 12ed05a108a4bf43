package derivation
import ("testing";"hatchwright/service/part")
func BenchmarkZRule(b *testing.B) {
	for _, pat := range []string{part.FlushLedge, part.FlushGutter, part.RaisedCoaming, part.BoltedPlate} {
	e := engine(b); f := rectangle(560, 410, 55); f["/pattern"]=pat
	r := ask(b, f)
	c := e.Complete(r)
	s := e.rule(&c)
	for _, x := range s.findings { b.Log(pat, x.Code, x.Severity, x.Measured, x.Limit) }
	b.Run(pat+"/rule", func(b *testing.B){ b.ReportAllocs(); for b.Loop() { e.rule(&c) } })
	b.Run(pat+"/shape", func(b *testing.B){ b.ReportAllocs(); for b.Loop() { e.shape(&c,s) } })
	}
}
