package gpioline

// helperMain will run the helper processes of the kernel tests.
func helperMain() {}
