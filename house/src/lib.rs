//! Rules of this house, held by the tests beside this file.
