package service

import (
	"errors"
	"fmt"
	"slices"
	"strings"

	"hatchwright/service/civil"
	"hatchwright/service/derivation"
	"hatchwright/service/drawing"
	"hatchwright/service/fault"
	"hatchwright/service/model3d"
	"hatchwright/service/record"
)

// PictureFormat is a format of a drawing or a model, the way files of it end.
type PictureFormat string

// The formats.
const (
	FormatSVG PictureFormat = "svg"
	FormatPNG PictureFormat = "png"
	FormatPDF PictureFormat = "pdf"
	FormatDXF PictureFormat = "dxf"
	FormatGLB PictureFormat = "glb"
	FormatSTL PictureFormat = "stl"
)

// pictureDPI is the resolution of a PNG, dots an inch: sharp on a screen, and a
// line of 0.25 mm is still a pixel wide.
const pictureDPI = 110

// Picture is a drawing on paper or a model in space of one hatch.
type Picture struct {
	Name    string
	Title   string
	Formats []PictureFormat // the usual one first
	// File is what a file of it is called, without its ending.
	File   string
	render func(PictureFormat) ([]byte, error)
}

// Render writes the picture in one of its formats. The same picture gives the same
// bytes. Errors are *fault.Error.
func (p Picture) Render(f PictureFormat) ([]byte, error) {
	if !slices.Contains(p.Formats, f) {
		return nil, fault.New(fault.Internal, "There is no %s of the drawing %q.", f, p.Name)
	}
	body, err := p.render(f)
	if err != nil {
		return nil, fault.Wrap(fault.Internal, err, "The drawing could not be made.")
	}
	return body, nil
}

// modelPrefix tells models from drawings. The whole hatch is "model".
const modelPrefix = "model"

// models are the models by what follows the prefix, in the order of the list; ""
// for all of them in one scene.
var models = []struct {
	name, title string
	solids      []string
}{
	{"-parts", "Model of the lid and the receiver", []string{model3d.Lid, model3d.Receiver}},
	{"", "Model: lid, receiver and both molds", []string{model3d.Lid, model3d.Receiver, model3d.ReceiverMold, model3d.LidMold}},
	{"-lid", "Model of the lid", []string{model3d.Lid}},
	{"-receiver", "Model of the receiver", []string{model3d.Receiver}},
	{"-mold-receiver", "Model of the receiver's mold", []string{model3d.ReceiverMold}},
	{"-mold-lid", "Model of the lid's mold", []string{model3d.LidMold}},
}

// RoleOfPicture is the least role that a picture is for: what a customer has to see
// of a hatch is for everybody, how it is built is the shop's.
func RoleOfPicture(name string) record.Role {
	switch name {
	case "plan", "section", "exploded", modelPrefix + "-parts", modelPrefix + "-lid", modelPrefix + "-receiver":
		return record.RoleStorefront
	}
	return record.RoleShop
}

// picturesFor lists what there is of a result for a caller.
func picturesFor(c Caller, r *derivation.Result) []string {
	return slices.DeleteFunc(pictureNames(r), func(name string) bool { return !c.May(RoleOfPicture(name)) })
}

// pictureFor is picture for a caller: a name that is another role's, or unknown, is a
// fault that says which there are.
func pictureFor(c Caller, r *derivation.Result, name string, date civil.Date) (Picture, error) {
	if c.May(RoleOfPicture(name)) {
		return picture(r, name, date)
	}
	mine := strings.Join(picturesFor(c, r), ", ")
	if slices.Contains(pictureNames(r), name) {
		return Picture{}, fault.New(fault.Forbidden, "The drawing %q takes a %s key; yours is a %s key. With yours there are: %s.", name, RoleOfPicture(name), c.Role, mine)
	}
	return Picture{}, fault.New(fault.NotFound, "There is no drawing of that name. Of this hatch there are: %s.", mine)
}

// pictureNames lists what there is of a result, drawings first.
func pictureNames(r *derivation.Result) []string {
	names := drawing.Names(r)
	for _, m := range models {
		names = append(names, modelPrefix+m.name)
	}
	return names
}

// picture makes one picture of a result, in its own units; it bears the date. An
// unknown name is a fault that says which there are.
func picture(r *derivation.Result, name string, date civil.Date) (Picture, error) {
	p := Picture{Name: name, File: name + "-" + drawing.ShortDigest(r.Digest)}
	for _, m := range models {
		if modelPrefix+m.name != name {
			continue
		}
		p.Title, p.Formats = m.title, []PictureFormat{FormatGLB}
		if len(m.solids) == 1 { // an STL file is one solid
			p.Formats = append(p.Formats, FormatSTL)
		}
		p.render = func(f PictureFormat) ([]byte, error) { return renderModel(r, m.solids, f, date) }
		return p, nil
	}
	d, err := drawing.Draw(name, drawing.Request{Result: r, Units: r.Configuration.Units, Date: date})
	switch {
	case errors.Is(err, drawing.ErrUnknownDrawing):
		return p, fault.Wrap(fault.NotFound, err, "There is no drawing of that name. Of this hatch there are: %s.", strings.Join(pictureNames(r), ", "))
	case err != nil:
		return p, fault.Wrap(fault.Internal, err, "The drawing could not be made.")
	}
	p.Title = d.Title
	for _, f := range d.Formats() {
		p.Formats = append(p.Formats, PictureFormat(f))
	}
	p.render = func(f PictureFormat) ([]byte, error) {
		if f == FormatPNG {
			return d.PNG(pictureDPI)
		}
		return d.Render(drawing.Format(f))
	}
	return p, nil
}

func renderModel(r *derivation.Result, solids []string, f PictureFormat, date civil.Date) ([]byte, error) {
	var meshes []model3d.Mesh
	for _, name := range solids {
		m, err := model3d.Solid(r, name, 0)
		if err != nil {
			return nil, err
		}
		meshes = append(meshes, m)
	}
	switch f {
	case FormatGLB:
		return model3d.GLB(meshes, model3d.Meta{Digest: r.Digest, Date: date.String()})
	case FormatSTL:
		return meshes[0].STL(), nil
	case FormatSVG, FormatPNG, FormatPDF, FormatDXF:
	}
	return nil, fmt.Errorf("model: no format %q", f)
}
