//! A session as two devices write it: nothing is overwritten, and both end with the same view.
