package seal

// What tests seal is what Seal would never make.
var (
	SealContent = sealContent
	Pack        = pack
	Padded      = padded
)

const ContentHead = contentHead
