package dashboard

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"path"
	"strings"

	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomedium"
	"golang.org/x/image/font/gofont/goregular"
)

//go:embed assets/*
var assetFiles embed.FS

//go:embed templates/*.html
var templateFiles embed.FS

// asset is a file as it is served. Its address carries its version, so browsers may keep it for good.
type asset struct {
	kind    string
	content []byte
	version string
}

var kinds = map[string]string{
	".css": "text/css; charset=utf-8", ".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml", ".ttf": "font/ttf",
}

// loadAssets reads the embedded files and the faces. The style sheet names the faces by address, so their versions
// are put into it.
func loadAssets() (map[string]asset, error) {
	files := map[string]asset{}
	add := func(name string, content []byte) {
		sum := sha256.Sum256(content)
		files[name] = asset{kinds[path.Ext(name)], content, hex.EncodeToString(sum[:6])}
	}
	add("go-regular.ttf", goregular.TTF)
	add("go-medium.ttf", gomedium.TTF)
	add("go-bold.ttf", gobold.TTF)
	names, err := fs.ReadDir(assetFiles, "assets")
	if err != nil {
		return nil, fmt.Errorf("the dashboard's files are not in this program: %w", err)
	}
	for _, entry := range names {
		content, err := fs.ReadFile(assetFiles, "assets/"+entry.Name())
		if err != nil {
			return nil, fmt.Errorf("the dashboard's file %s cannot be read: %w", entry.Name(), err)
		}
		if path.Ext(entry.Name()) == ".css" {
			content = withVersions(content, files)
		}
		add(entry.Name(), content)
	}
	return files, nil
}

// withVersions completes the addresses of the faces in a style sheet.
func withVersions(css []byte, files map[string]asset) []byte {
	text := string(css)
	for _, name := range []string{"go-regular.ttf", "go-medium.ttf", "go-bold.ttf"} {
		text = strings.ReplaceAll(text, `url("`+name+`")`, `url("`+name+"?v="+files[name].version+`")`)
	}
	return []byte(text)
}

// address gives the address of a file with its version.
func (p *Pages) address(name string) (string, error) {
	a, ok := p.files[name]
	if !ok {
		return "", fmt.Errorf("there is no file %q among the dashboard's", name)
	}
	return "/assets/" + name + "?v=" + a.version, nil
}

func (p *Pages) serveAsset(w http.ResponseWriter, r *http.Request) {
	a, ok := p.files[r.PathValue("name")]
	if !ok {
		p.fail(w, r, errNoPage)
		return
	}
	w.Header().Set("Content-Type", a.kind)
	if r.URL.Query().Get("v") == a.version {
		w.Header().Set("Cache-Control", "public, max-age=31536000, immutable")
	} else {
		w.Header().Set("Cache-Control", "no-cache")
	}
	tag := `"` + a.version + `"`
	w.Header().Set("ETag", tag)
	if strings.Contains(r.Header.Get("If-None-Match"), tag) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	_, _ = w.Write(a.content) // the reader may have left; there is nobody to tell
}

// parse reads the layout and each page's template.
func (p *Pages) parse() (map[string]*template.Template, error) {
	layout, err := template.New("layout").Funcs(template.FuncMap{"asset": p.address}).ParseFS(templateFiles, "templates/layout.html", "templates/marks.html")
	if err != nil {
		return nil, fmt.Errorf("the dashboard's layout: %w", err)
	}
	pages := map[string]*template.Template{}
	for _, name := range []string{"cohort.html", "trainee.html", "debrief.html", "failure.html"} {
		own, err := layout.Clone()
		if err == nil {
			own, err = own.ParseFS(templateFiles, "templates/"+name)
		}
		if err != nil {
			return nil, fmt.Errorf("the dashboard's page %s: %w", name, err)
		}
		pages[name] = own
	}
	return pages, nil
}
