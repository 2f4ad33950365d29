//! A trie of spellings as token sequences: shared prefixes are scored once.

use super::tokenizer::{END, Token};
use std::collections::HashMap;

/// A node of the trie.
pub(in crate::hear) type Node = u32;

/// The root.
pub(in crate::hear) const ROOT: Node = 0;

/// Every spelling of a grammar.
pub(in crate::hear) struct Trie {
    nodes: Vec<Branches>,
    edges: HashMap<(Node, Token), Node>,
}

#[derive(Default)]
struct Branches {
    children: Vec<(Token, Node)>,
    ends: Vec<u32>,
}

impl Default for Trie {
    fn default() -> Self {
        Trie { nodes: vec![Branches::default()], edges: HashMap::new() }
    }
}

impl Trie {
    /// Adds a spelling under the caller's number for it.
    pub(in crate::hear) fn add(&mut self, tokens: &[Token], spelling: u32) {
        let mut at = ROOT;
        for &token in tokens {
            let fresh = self.nodes.len() as Node;
            let next = *self.edges.entry((at, token)).or_insert(fresh);
            if next == fresh {
                self.nodes.push(Branches::default());
                self.nodes[at as usize].children.push((token, next));
            }
            at = next;
        }
        self.nodes[at as usize].ends.push(spelling);
    }

    /// The child nodes with their tokens.
    pub(in crate::hear) fn children(&self, node: Node) -> &[(Token, Node)] {
        &self.nodes[node as usize].children
    }

    /// Every token that may follow, including the end token if a spelling ends here.
    pub(in crate::hear) fn next_tokens(&self, node: Node) -> Vec<Token> {
        let ends = (!self.ends(node).is_empty()).then_some(END);
        self.children(node).iter().map(|c| c.0).chain(ends).collect()
    }

    /// The spellings that end here.
    pub(in crate::hear) fn ends(&self, node: Node) -> &[u32] {
        &self.nodes[node as usize].ends
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beginnings_are_shared_and_ends_kept_apart() {
        let mut trie = Trie::default();
        trie.add(&[5, 6], 0);
        trie.add(&[5, 7], 1);
        trie.add(&[5], 2);
        trie.add(&[5, 7], 3);
        assert_eq!(trie.nodes.len(), 4);
        let (_, five) = trie.children(ROOT)[0];
        assert_eq!(trie.ends(five), [2]);
        let (token, seven) = trie.children(five)[1];
        assert_eq!((token, trie.ends(seven)), (7, &[1, 3][..]));
    }
}
