//! What is there still to do, and who does it next?
