// Package labelpage draws labels with QR codes on a page to be printed and cut.
package labelpage
