// Package bolting turns a fastener (thread, strength class, condition of its
// threads) into torque and preload, and shows what a wrong condition does to
// them.
//
// The standards' tables are data with their source, edition and mark; nothing
// here decides without them. A torque that comes out of this package is a
// default computed from assumptions: the cautions of Cautions travel with it.
//
// Conventions. Metric threads follow ISO 68-1, ISO 724 and ISO 898-1, inch
// threads ASME B1.1: their stress areas differ and are never mixed. Quantities
// are in SI (mm, mm², N, N·m, MPa); inch figures of the tables are kept as
// printed and converted with exact factors. The nut factor K and the friction
// coefficients are pure numbers.
package bolting
