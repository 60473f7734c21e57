// Package calendar writes days that matter, such as due dates, as an iCalendar
// object (RFC 5545) that any calendar program can take in.
package calendar
