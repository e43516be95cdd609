package command

// ignoreClosedPipe does nothing where there are no pipes.
func ignoreClosedPipe() func() { return func() {} }
