//! What can be asked from a terminal?
