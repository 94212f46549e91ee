/** The words of the settings, in French. */
import type { SettingsWords } from "../settings";

export const settings: SettingsWords = {
	title: "Apparence et langue",
	language: "Langue",
	languages: { en: "English", fr: "Français" },
	languageWhy:
		"Les nombres et les dates la suivent, et ce qui est dit d’une lecture : verdicts, mises en garde, constats, réponses des calculs. Ce que des personnes ont tapé reste tel quel.",
	languageFailed: "Le nœud n’a pas donné cette langue : la précédente reste.",
	theme: "Thème",
	themes: { sun: "Soleil", dusk: "Sombre" },
	keptHere: "Gardé sur cet appareil seulement.",
};
