package chart

import "image/color"

// ink is a colour with the class under which a style sheet knows it. It is a color.Color, so gonum/plot carries it
// through to the canvas unchanged.
type ink struct {
	color.NRGBA
	class string
}

// The palette. Blue, ochre and plum differ in lightness too, and no two things are told apart by colour alone:
// points differ by shape, lines by dashes and a label.
var (
	inkText     = ink{color.NRGBA{0x33, 0x41, 0x4e, 0xff}, "ink-text"}
	inkGrid     = ink{color.NRGBA{0xd5, 0xdb, 0xe1, 0xff}, "ink-grid"}
	inkData     = ink{color.NRGBA{0x15, 0x4f, 0x86, 0xff}, "ink-data"}
	inkBand     = ink{color.NRGBA{0x15, 0x4f, 0x86, 0x2b}, "ink-band"}
	inkStandard = ink{color.NRGBA{0x7a, 0x4b, 0x00, 0xff}, "ink-standard"}
	inkCritical = ink{color.NRGBA{0x7c, 0x1d, 0x6f, 0xff}, "ink-critical"}
	inkPaper    = ink{color.NRGBA{0xff, 0xff, 0xff, 0xff}, "ink-paper"}
)
