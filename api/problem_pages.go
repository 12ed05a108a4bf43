package api

import (
	"bytes"
	"html/template"
	"net/http"

	"hatchwright/service/fault"
)

var problemPage = template.Must(template.New("problem").Parse(`<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<title>{{.Title}} ({{.Status}})</title>
</head>
<body>
<h1>{{.Title}}</h1>
<p><code>{{.Type}}</code>, HTTP status {{.Status}}</p>
<h2>What it means</h2>
<p>{{.Meaning}}</p>
<h2>What to do</h2>
<p>{{.Remedy}}</p>
<p><a href="/docs">The contract</a></p>
</body>
</html>
`))

// getProblemPage explains a kind of problem to a person.
func (a *api) getProblemPage(c *call) error {
	p := problems[c.Param("type")]
	if p == nil {
		return fault.New(fault.NotFound, "There is no such kind of problem.")
	}
	var page bytes.Buffer
	err := problemPage.Execute(&page, map[string]any{
		"Title": p.title, "Status": p.status, "Type": "/problems/" + p.name, "Meaning": p.meaning, "Remedy": p.remedy,
	})
	if err != nil {
		return err
	}
	return c.Blob(http.StatusOK, "text/html; charset=utf-8", page.Bytes())
}
