package meter

// SetRails says anew what the signal may use and where it rests, in the input's unit; NaN
// is not told. Nothing that was measured is lost: rails are only judged by.
func (m *Meter) SetRails(low, high, middle float64) error {
	cfg := m.cfg
	cfg.SupplyLow, cfg.SupplyHigh, cfg.MidRail = low, high, middle
	cfg, err := cfg.check()
	if err != nil {
		return err
	}
	m.cfg = cfg
	return nil
}
