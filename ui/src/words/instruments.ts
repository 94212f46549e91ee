/** The words for instruments that are connected to this device, in English. */
import { spoken } from "./speech.svelte";

const english = {
	title: "Instruments connected to this device",
	why: "An instrument whose profile stands in the papers can be asked for its reading. Nothing here keys a transmitter.",
	noProfile: "no profile: its numbers are typed",
	address: (name: string) => `Where ${name} is connected`,
	addressHelp: "As in 192.0.2.9:5025, or /dev/ttyUSB0@9600",
	keep: "Keep",
	meet: (name: string) => `Ask ${name} who it is`,
	met: (identity: string) => `It says: ${identity}`,
	ended: (due: string) => `Its calibration ended on ${due}: what it reads is judged so.`,
	read: (name: string) => `Read it off ${name}`,
	reading: "Asking the instrument\u2026",
	heard: (number: string, identity: string) => `${number}, said by ${identity}. Record it if it is right.`,
	setTo: (number: string) => `Set the generator to ${number}`,
	send: "Send it",
	sendNot: "Do not send it",
	reads: (level: string) => `The instrument says that its level is ${level}.`,
};

/** What a language has to say here. */
export type InstrumentsWords = typeof english;
export const instrumentsWords: InstrumentsWords = spoken("instrumentsWords", english);
