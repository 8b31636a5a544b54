//! Numbers with units: parse, convert, print. One type per quantity, so that no function takes bare numbers.
