/** What Today shows first, where it comes soon: then no picture of waiting is drawn before it. */
import type { Desk } from "../bridge/desk";
import type { Today } from "../bridge/types/Today";

/** A person takes less than this for at once. */
const SOON_MS = 100;

/** None where it is late or was refused: whoever shows it asks again, and says what is wrong. */
export function firstPage(desk: Desk): Promise<Today | undefined> {
	const late = new Promise<undefined>((end) => setTimeout(() => end(undefined), SOON_MS));
	return Promise.race([desk.call("today", {}).catch(() => undefined), late]);
}
