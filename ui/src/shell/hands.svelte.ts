/** Whether readings are typed with gloves on: the person's choice, kept on this device. */
const KEPT = "guyline-hands";

class Hands {
	/** Set where the keypad takes the whole screen, with keys for a gloved finger. */
	gloved = $state(globalThis.localStorage?.getItem(KEPT) === "gloved");

	choose(gloved: boolean) {
		this.gloved = gloved;
		localStorage.setItem(KEPT, gloved ? "gloved" : "bare");
	}
}

export const hands = new Hands();
