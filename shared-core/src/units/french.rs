//! The French names of quantities and of the units that are words, as a refused number says them.
//!
//! In: a name as the code has it. Out: its French; none where nobody on a screen can meet it.

/// Quantities, sorted by their English.
const QUANTITIES: [(&str, &str); 102] = [
    ("SINAD", "SINAD"),
    ("VSWR", "ROS"),
    ("accepted desense", "désensibilisation acceptée"),
    ("antenna gain", "gain d’antenne"),
    ("antenna height", "hauteur d’antenne"),
    ("bandwidth", "largeur de bande"),
    ("cable loss per 100 m", "perte du câble par 100 m"),
    ("carrier frequency", "fréquence porteuse"),
    ("centre frequency", "fréquence centrale"),
    ("channel", "canal"),
    ("chi-square", "khi carré"),
    ("confidence", "confiance"),
    ("correlation", "corrélation"),
    ("coverage", "couverture"),
    ("degrees of freedom", "degrés de liberté"),
    ("deviation", "excursion"),
    ("distance", "distance"),
    ("distortion", "distorsion"),
    ("duty", "rapport cyclique"),
    ("effective earth radius factor", "facteur de rayon terrestre effectif"),
    ("end of the band", "bout de la bande"),
    ("expanded uncertainty", "incertitude élargie"),
    ("factor K", "facteur K"),
    ("feedline loss", "perte de la ligne d’alimentation"),
    ("figure", "valeur"),
    ("free space loss", "perte en espace libre"),
    ("frequency error", "erreur de fréquence"),
    ("frequency error or deviation", "erreur de fréquence ou excursion"),
    ("frequency for man-made noise", "fréquence pour le bruit industriel"),
    ("frequency offset", "écart de fréquence"),
    ("frequency tolerance", "tolérance de fréquence"),
    ("guard factor", "facteur de garde"),
    ("highest audio frequency", "plus haute fréquence audio"),
    ("highest modulating frequency", "plus haute fréquence de modulation"),
    ("keyed share", "part du temps en émission"),
    ("keying rate", "rapidité de manipulation"),
    ("level", "niveau"),
    ("level or power", "niveau ou puissance"),
    ("limit", "limite"),
    ("line length", "longueur de ligne"),
    ("line loss", "perte de la ligne"),
    ("loaded Q", "Q en charge"),
    ("loss", "perte"),
    ("loss ahead", "perte devant"),
    ("loss at resonance", "perte à la résonance"),
    ("loss between the ports", "perte entre les ports"),
    ("loss of a passive path", "perte d’une voie passive"),
    ("loss of the lines", "perte des lignes"),
    ("lower limit", "limite inférieure"),
    ("mismatch loss", "perte de désadaptation"),
    ("modulating frequency", "fréquence de modulation"),
    ("noise factor", "facteur de bruit en rapport"),
    ("noise figure", "facteur de bruit"),
    ("noise temperature", "température de bruit"),
    ("number of frequencies", "nombre de fréquences"),
    ("number of repeats", "nombre de répétitions"),
    ("number of stages", "nombre d’étages"),
    ("path length", "longueur du trajet"),
    ("path loss", "perte du trajet"),
    ("peak deviation", "excursion de crête"),
    ("power", "puissance"),
    ("power density", "densité de puissance"),
    ("process deviation", "écart type du procédé"),
    ("process mean", "moyenne du procédé"),
    ("product order", "ordre du produit"),
    ("ratio", "rapport"),
    ("reading", "mesure"),
    ("receiver bandwidth", "largeur de bande du récepteur"),
    ("reference deviation", "excursion de référence"),
    ("reference resistance", "résistance de référence"),
    ("reflected power", "puissance réfléchie"),
    ("reflection", "réflexion"),
    ("reflection coefficient", "coefficient de réflexion"),
    (
        "reflection coefficient at the input of this line",
        "coefficient de réflexion à l’entrée de cette ligne",
    ),
    ("residual deviation", "excursion résiduelle"),
    ("resistance", "résistance"),
    ("rest", "repos"),
    ("return loss", "affaiblissement d’adaptation"),
    ("return loss of a passive port", "affaiblissement d’adaptation d’un port passif"),
    ("sample rate", "fréquence d’échantillonnage"),
    ("sensitivity", "coefficient de sensibilité"),
    ("shift", "décalage"),
    ("shift from the centre frequency", "décalage depuis la fréquence centrale"),
    ("short time", "courte durée"),
    ("short-time power", "puissance de courte durée"),
    ("speed", "vitesse"),
    ("squelch tone", "tonalité de silencieux"),
    ("standard deviation of a repeat", "écart type d’une répétition"),
    ("standard uncertainty", "incertitude type"),
    ("sum of losses", "somme des pertes"),
    ("time keyed", "temps en émission"),
    ("tolerance over uncertainty", "tolérance sur incertitude"),
    ("tone", "tonalité"),
    ("transmission", "transmission"),
    ("transmitter noise", "bruit de l’émetteur"),
    ("uncertainty", "incertitude"),
    ("unloaded Q", "Q à vide"),
    ("upper limit", "limite supérieure"),
    ("value", "valeur"),
    ("value as found", "valeur à l’arrivée"),
    ("value as left", "valeur au départ"),
    ("voltage", "tension"),
];

/// Units that are words.
const UNITS: [(&str, &str); 3] =
    [("points", "points"), ("readings", "mesures"), ("words a minute", "mots par minute")];

/// A quantity's name.
pub(super) fn quantity(english: &str) -> Option<&'static str> {
    let found = QUANTITIES.binary_search_by_key(&english, |(name, _)| name);
    found.ok().map(|at| QUANTITIES[at].1)
}

/// A unit as it is written; most are written alike.
pub(super) fn unit(english: &str) -> &str {
    let found = UNITS.iter().find(|(name, _)| *name == english);
    found.map_or(english, |(_, french)| french)
}

#[cfg(test)]
mod tests {
    use super::QUANTITIES;

    #[test]
    fn quantities_are_sorted_and_stand_once() {
        assert!(QUANTITIES.windows(2).all(|pair| pair[0].0 < pair[1].0));
    }
}
