/** Notices of the platform, for what happens while nobody looks at the window. A browser gives none. */
import { Refused } from "./refused";
import { giveNotice, isWindow } from "./tauri";

/** Gives notice where this page is in a window that nobody looks at. */
export async function noticeAway(text: string) {
	if (!isWindow() || document.hasFocus()) return;
	try {
		await giveNotice(text);
	} catch (error) {
		// A platform that shows no notices: the screens say the same to whoever comes back.
		if (!(error instanceof Refused)) throw error;
	}
}
