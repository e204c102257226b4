//! What may be asked over the network?
