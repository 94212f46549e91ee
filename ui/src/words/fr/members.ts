/** The words for the shop's devices, in French. */
import type { MembersWords } from "../members";

export const membersWords: MembersWords = {
	title: "Les appareils de l’atelier",
	none: "Cet appareil n’est encore sur la liste d’aucun atelier. D’ici là, il ne fusionne que par clé USB et sur cette machine.",
	fault: "Personne n’est admis ici tant que cet appareil n’est pas entré à nouveau.",
	own: "(cet appareil)",
	off: (reason) => `exclu : ${reason}`,
	takeOff: (name) => `Exclure ${name}`,
	reason: "Pourquoi : perdu, volé, vendu ?",
	doTakeOff: "Exclure pour de bon",
	takeOffWhy:
		"Tout appareil qui l’apprend le refuse désormais. Ce qu’il contient déjà ne peut pas être repris. Un appareil retrouvé entre à nouveau.",
	share: "Partager sur ce réseau",
	shareNoMore: "Ne plus partager",
	sharedAt: "Les appareils de l’atelier joignent celui-ci à",
	invite: "Faire entrer un appareil",
	inviteHow:
		"Portez cette ligne à l’autre appareil, ou laissez sa caméra lire le code. Elle sert une fois, pendant dix minutes.",
	inviteQr: "Code QR de l’invitation. Il contient la ligne ci-dessus, signe pour signe.",
	inviteLink: "La même, sous forme de lien",
	inviteLinkWhy:
		"Sur un appareil où Guyline est installé, il ouvre le formulaire d’entrée, déjà rempli. L’ouvrir ne fait entrer personne.",
	waiting: "Personne n’est encore à la porte.",
	atDoor: (name) => `${name} est à la porte. Il doit montrer le même code :`,
	admit: "Il montre ce code : le faire entrer",
	join: "Invitation d’un autre appareil",
	brought: "Un lien a apporté cette invitation. N’entrez avec elle que si vous savez de qui elle vient.",
	memberAlready:
		"Un lien a apporté une invitation. Cet appareil fait déjà partie d’un atelier : un autre atelier va dans un autre dossier.",
	doJoin: "Entrer avec elle",
	compare: "L’autre appareil doit montrer ce code. Qui le tient fait entrer celui-ci.",
	first: "C’est le premier appareil de l’atelier",
	firstWhy:
		"Il reçoit la clé racine de l’atelier et fait entrer les autres. Gardez-le au bureau, et gardez une copie du fichier shop-root.key là où vous seul y avez accès.",
	found: "Faire ici la clé racine de l’atelier",
};
