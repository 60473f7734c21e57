// Package quantity reads torques, lengths, temperatures, forces and masses as
// people type them, turns them to SI units and back, and keeps what was typed.
//
// A quantity is typed as a number and a unit: "150 lbf.ft", "203Nm", "38 °F",
// "1-1/2 in". Case does not matter. The factors of a compound unit may be
// joined by a point, a middle dot, an asterisk, a hyphen, a space or nothing,
// and "ft-lb" counts as "lbf.ft": in a torque the pound is one of force. The
// decimal sign is a point; thousands are not separated. What could be meant in
// two ways is refused, never guessed.
//
// What is typed is converted in exact arithmetic and rounded once, to the
// nearest float64, so "1-1/2 in" is the same as "38.1 mm".
//
// Each quantity is a distinct float64 type in one fixed unit, named in its
// documentation, so that neither two quantities nor two units can be swapped.
// Converting for display rounds; a figure that came from a person is shown from
// its [Entry], which keeps the number, the unit and the text.
package quantity
