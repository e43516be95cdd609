package channel

import "fmt"

// ChannelError says which channel, counted from 0, something is wrong with.
type ChannelError struct {
	Channel int
	Err     error
}

func (e *ChannelError) Error() string {
	return fmt.Sprintf("channel %d: %v", e.Channel+1, e.Err)
}

func (e *ChannelError) Unwrap() error { return e.Err }

func errTooMany(told, channels int) error {
	return fmt.Errorf("settings of %d channels: the recording has %d", told, channels)
}
