/** What each refusal means to a person, in French. */
import type { refusals as english } from "../refusals";

export const refusals: typeof english = {
	"unknown-command": { title: "L’écran et le nœud ne sont pas du même âge", severity: "alarm" },
	"wrong-body": { title: "L’écran et le nœud ne sont pas du même âge", severity: "alarm" },
	"not-here": { title: "Pas sur cet appareil", severity: "note" },
	"nobody-holds": { title: "Personne ne tient cet appareil", severity: "note" },
	stopped: { title: "Arrêt : émettre détruirait quelque chose", severity: "alarm" },
	"cautions-open": { title: "D’abord les mises en garde", severity: "note" },
	"not-a-reading": { title: "Pas une lecture", severity: "note" },
	"not-a-question": { title: "Ces nombres n’ont pas de réponse", severity: "note" },
	"chain-refused": { title: "Cela ne se branche pas ainsi", severity: "note" },
	"edit-refused": { title: "Non gardé", severity: "alarm" },
	"exchange-failed": { title: "Non fusionné", severity: "note" },
	"no-answer": { title: "On ne sait pas si c’est gardé", severity: "alarm" },
	"not-rendered": { title: "Aucun fichier n’a été fait", severity: "note" },
	"signed-off": { title: "Signée : dites d’abord pourquoi", severity: "note" },
	"instrument-silent": { title: "L’instrument ne répond pas", severity: "note" },
	"store-failed": { title: "On ne sait pas si c’est gardé", severity: "alarm" },
	forbidden: { title: "Pas permis d’ici", severity: "note" },
	"sign-in": { title: "Pas connecté", severity: "note" },
	locked: { title: "Verrouillé", severity: "note" },
	"too-often": { title: "Trop à la fois", severity: "note" },
	"too-large": { title: "Trop grand", severity: "note" },
};
