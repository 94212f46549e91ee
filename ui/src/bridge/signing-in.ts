/** Signing a browser in at the hub that served this page, and out. Not for the window: it is in. */
import { browserFetch, post } from "./post";

/** Exchanges a code for the cookie. Throws `Refused` where it lets nobody in. */
export const signIn = (code: string) => post("/sign-in", { code }, browserFetch);

/** Ends what this browser was granted. */
export const signOut = () => post("/sign-out", {}, browserFetch);
