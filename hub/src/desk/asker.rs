//! Who asks at the desk: a node, and the language the asking screen is in.
//!
//! In: the node and a language, once a request. Out: what a command that answers in words takes;
//! one that says nothing of its own takes the node alone. Nothing is recorded in a language: what
//! is written, and what is signed, is the same whichever screen asked.

use std::ops::Deref;

use guyline_core::language::Language;

use crate::Node;

/// A node as a screen asks it. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Asker {
    node: Node,
    /// In which words it is answered.
    pub language: Language,
}

impl Asker {
    /// This node, asked in a language.
    pub fn new(node: &Node, language: Language) -> Self {
        Self { node: node.clone(), language }
    }

    /// This node, asked in English: what asks without a screen.
    pub(super) fn in_english(node: &Node) -> Self {
        Self::new(node, Language::English)
    }
}

/// Everything a node does, it does for whoever asks.
impl Deref for Asker {
    type Target = Node;

    fn deref(&self) -> &Node {
        &self.node
    }
}
