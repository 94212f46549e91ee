/** The words for browsers at a hub, in French. */
import type { SignInWords } from "../sign-in";

export const signInWords: SignInWords = {
	title: "Se connecter",
	why: "Ce nœud central montre ses écrans aux navigateurs que quelqu’un de l’atelier a fait entrer.",
	code: "Code du nœud central",
	signIn: "Se connecter",
	how: "Qui tient le nœud central fait un code sous Appareils, ou avec guyline browser grant. Il sert une fois, dans les dix minutes, et pour ce navigateur seulement.",
	as: (person, browser) => `${person}, par navigateur : ${browser}.`,
	browserReads: "Ce navigateur est admis en lecture seule : rien ne peut être saisi ici.",
	deviceReads: "Cet appareil est admis en lecture seule : rien ne peut être saisi ici.",
	readsOnly: "Admis en lecture seule : rien ne peut être saisi ici.",
	signOut: "Se déconnecter",

	browsers: "Navigateurs de ce nœud",
	notServed:
		"Les navigateurs ne joignent pas cet appareil : lancez-le avec guyline serve --screens 0.0.0.0:4772.",
	servedAt: "Les navigateurs se connectent à",
	fingerprint: "Ils voient le certificat SHA-256",
	none: "Aucun navigateur n’est admis.",
	name: "Où se trouve le navigateur",
	person: "À qui il est",
	role: "À quoi il sert",
	roles: {
		office: "Bureau : papiers, plan et visites",
		crew: "Équipe : visites",
		"read-only": "Lecture seule",
	},
	deviceRoles: {
		crew: "Équipe : va sur les sites",
		office: "Bureau : tient l’atelier",
		"read-only": "Lecture seule",
	},
	days: "Pour tant de jours",
	grant: "Faire entrer un navigateur",
	granted: "Ouvrez ceci dans le navigateur, ou saisissez le code. Il sert une fois, dans les dix minutes.",
	linkQr: "Code QR du lien ci-dessus, pour la caméra d’un téléphone ou d’une tablette.",
	until: (day) => `jusqu’au ${day}`,
	lastUsed: (at) => `servi le ${at}`,
	notYet: "pas encore connecté",
	ended: "terminé",
	revoke: (name) => `Terminer ${name}`,
};
