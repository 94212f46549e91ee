/** What became of a file that was handed to the person. */
export interface Kept {
	name: string;
	/** Where the person put it; null where they let it go, undefined where a browser sees to that. */
	at: string | null | undefined;
}
