package page

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"html/template"
	"strings"
)

//go:embed style.css
var styleText string

//go:embed pages.html
var pagesText string

func styleSheet() template.CSS { return template.CSS(styleText) } // ours, embedded

// styleHash is what the content policy allows of styles: this sheet and no other.
func styleHash() string {
	sum := sha256.Sum256([]byte(styleText))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

func parsePages() *template.Template {
	return template.Must(template.New("pages").Funcs(template.FuncMap{"code": codeMarks}).Parse(pagesText))
}

// codeMarks sets what stands between backquotes as code.
func codeMarks(s string) template.HTML {
	var b strings.Builder
	for i, part := range strings.Split(s, "`") {
		if i%2 == 1 {
			b.WriteString("<code>" + template.HTMLEscapeString(part) + "</code>")
		} else {
			b.WriteString(template.HTMLEscapeString(part))
		}
	}
	return template.HTML(b.String())
}
