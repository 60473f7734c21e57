package rules

// Window is the torque that the facts' specification asks for, or the approved
// substitution that their lot falls under, and where it stands; false without a
// specification.
func (f *Facts) Window() (window TorqueWindow, source string, ok bool) {
	if f.Specification == nil {
		return TorqueWindow{}, "", false
	}
	return TorqueWindow{f.target(), f.Specification.TorqueTolerancePercent}, f.targetSource(), true
}
