/** The words for a visit's attachments, in French. */
import type { AttachmentWords } from "../attachments";
import { countedIn } from "../plural";

const counted = countedIn("fr");

export const attachmentWords: AttachmentWords = {
	title: "Photos et fichiers",
	none: "Rien n’est encore joint.",
	photograph: "Prendre une photo",
	choose: "Choisir un fichier",
	kinds: "Photos (JPEG, PNG), PDF, enregistrements WAV, balayages Touchstone.",
	caption: "Ce que cela montre",
	captionWhy: "Peut rester vide, et s’écrire ou changer plus tard.",
	belongs: "Se rapporte à",
	wholeVisit: "Toute la visite",
	keepPosition: "Garder où et avec quoi la photo a été prise",
	keepPositionWhy:
		"Sinon, la position, le numéro de l’appareil et son propriétaire sont ôtés avant qu’elle soit gardée.",
	chosen: (name, size) => `${name}, ${size} choisis`,
	attach: "Joindre",
	attaching: "On joint…",
	leave: "Pas celui-ci",
	of: (what) => `pour ${what}`,
	by: (name, when, device) => `${name}, le ${when}, ${device}`,
	here: "sur cet appareil",
	notHere: "pas encore reçu",
	partHere: (part, whole) => `${part} reçus sur ${whole}`,
	fetch: "Recevoir maintenant",
	fetching: "On reçoit…",
	large: "Voir en grand",
	save: "Enregistrer le fichier",
	caption2: "Deux personnes l’ont légendé chacune de son côté : écrivez ce qui vaut.",
	writeCaption: "Changer la légende",
	keepCaption: "Garder la légende",
	retire: "Ôter de la visite",
	retireWhy: "Cela reste visible plus bas, et peut être remis.",
	putBack: "Le remettre dans la visite",
	retired: "Ôté de la visite",
	noPicture: "Cette photo ne peut pas être montrée ici.",
	shown: (caption) => `Photo : ${caption}`,
	count: (count) => counted(count, "fichier", "fichiers"),
	size: (bytes, unit) => `${bytes} ${{ B: "o", kB: "ko", MB: "Mo" }[unit]}`,
};
