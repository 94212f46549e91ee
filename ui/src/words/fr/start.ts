/** The words for beginning, in French. */
import type { StartWords } from "../start";

export const start: StartWords = {
	how: "Comment voulez-vous commencer ?",
	own: "Fonder un atelier",
	ownWhy: "Pour le premier appareil d’un atelier. Ses dossiers, sites et visites commencent ici.",
	shopName: "Le nom de l’atelier",
	yourName: "Votre nom, comme l’équipe vous appelle",
	device: "Comment on appelle cet appareil",
	deviceHint: "Par exemple : tablette du camion 2.",
	begin: "Fonder",
	join: "Rejoindre un atelier",
	joinWhy: "Un autre appareil ou le central a déjà les dossiers : prenez-les à son adresse.",
	demo: "Visiter un atelier inventé",
	demoWhy:
		"Larkspur Radio Works et son site Owl Knob n’existent pas. Rien de ce que vous y faites ne compte.",
	openDemo: "Ouvrir l’atelier inventé",
	newSite: "Un nouveau site",
	siteName: "Le nom du site",
	siteAccess: "Comment y aller et y entrer",
	doSite: "Créer le site",
	plan: "Prévoir une visite",
	where: "Site et relais",
	order: "Ordre de travail, ou motif",
	doPlan: "Prévoir",
	noDestination: "Aucun site n’a de relais. Ajoutez-en un d’abord dans Dossiers.",
};
