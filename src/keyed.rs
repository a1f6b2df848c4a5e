//! Tables that only their own id can index.
//!
//! An id is made where its row is added, and rows are never removed. So a lookup cannot miss, and
//! callers need no branch for a missing row. An id of another table does not compile. An id out of
//! range is a fault of the compiler and panics: to skip a row would make a wrong table.

use std::marker::PhantomData;
use std::ops::{Index, IndexMut};

/// A row's number in its own table.
pub trait Id: Copy + From<usize> {
    /// The number, from 0.
    fn index(self) -> usize;
}

/// Declares an id: a number from 0 that stands for a row of one table.
macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
        pub struct $name(pub u32);

        impl std::convert::From<usize> for $name {
            #[inline]
            fn from(index: usize) -> Self {
                // Limits on strings and source size keep tables far below this.
                Self(u32::try_from(index).unwrap_or(u32::MAX))
            }
        }

        impl $crate::keyed::Id for $name {
            #[inline]
            fn index(self) -> usize {
                self.0 as usize
            }
        }

        impl $name {
            /// As an index.
            #[allow(dead_code)] // some ids of private tables index nothing else
            #[must_use]
            #[inline]
            pub fn index(self) -> usize {
                self.0 as usize
            }
        }
    };
}
pub(crate) use id;

/// A table whose rows are looked up by `I`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Keyed<I, T> {
    rows: Vec<T>,
    id: PhantomData<I>,
}

impl<I: Id, T> Keyed<I, T> {
    /// Adds a row and returns its id.
    #[inline]
    pub fn push(&mut self, row: T) -> I {
        self.rows.push(row);
        I::from(self.rows.len() - 1)
    }

    /// The ids of all rows, in order.
    pub fn ids(&self) -> impl DoubleEndedIterator<Item = I> + ExactSizeIterator + use<I, T> {
        (0..self.rows.len()).map(I::from)
    }

    /// All rows with their ids, in order.
    pub fn pairs(&self) -> impl DoubleEndedIterator<Item = (I, &T)> + ExactSizeIterator {
        let row = |(at, row)| (I::from(at), row);
        self.rows.iter().enumerate().map(row)
    }

    /// A table with a row of its own for each row of this one.
    pub fn map<U>(&self, mut row: impl FnMut(&T) -> U) -> Keyed<I, U> {
        self.rows.iter().map(&mut row).collect()
    }

    /// The id of the first row for which `is` holds.
    pub fn find(&self, is: impl FnMut(&T) -> bool) -> Option<I> {
        self.rows.iter().position(is).map(I::from)
    }
}

impl<I, T> Keyed<I, T> {
    /// All rows, in order.
    #[inline]
    pub fn iter(&self) -> std::slice::Iter<'_, T> {
        self.rows.iter()
    }

    /// All rows, in order, to be changed.
    pub fn iter_mut(&mut self) -> std::slice::IterMut<'_, T> {
        self.rows.iter_mut()
    }

    /// How many rows there are.
    #[must_use]
    #[inline]
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// Whether there is no row.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The first row.
    #[must_use]
    pub fn first(&self) -> Option<&T> {
        self.rows.first()
    }

    /// The last row.
    #[must_use]
    pub fn last(&self) -> Option<&T> {
        self.rows.last()
    }

    /// The last row, to be changed.
    pub fn last_mut(&mut self) -> Option<&mut T> {
        self.rows.last_mut()
    }

    /// The rows as a slice.
    #[must_use]
    #[inline]
    pub fn as_slice(&self) -> &[T] {
        &self.rows
    }

    /// The rows as a slice, to be changed.
    pub fn as_mut_slice(&mut self) -> &mut [T] {
        &mut self.rows
    }

    /// The rows as a vector, to be changed as a whole.
    pub fn rows_mut(&mut self) -> &mut Vec<T> {
        &mut self.rows
    }

    /// Makes room for more rows.
    pub fn reserve(&mut self, more: usize) {
        self.rows.reserve(more);
    }
}

impl<I, T> Default for Keyed<I, T> {
    fn default() -> Self {
        Self::from(Vec::new())
    }
}

impl<I, T> From<Vec<T>> for Keyed<I, T> {
    fn from(rows: Vec<T>) -> Self {
        Self { rows, id: PhantomData }
    }
}

impl<I: Id, T> Index<I> for Keyed<I, T> {
    type Output = T;

    #[inline]
    fn index(&self, id: I) -> &T {
        self.rows.index(id.index())
    }
}

impl<I: Id, T> IndexMut<I> for Keyed<I, T> {
    #[inline]
    fn index_mut(&mut self, id: I) -> &mut T {
        self.rows.index_mut(id.index())
    }
}

impl<I, T> FromIterator<T> for Keyed<I, T> {
    fn from_iter<R: IntoIterator<Item = T>>(rows: R) -> Self {
        Self::from(Vec::from_iter(rows))
    }
}

impl<I, T> IntoIterator for Keyed<I, T> {
    type Item = T;
    type IntoIter = std::vec::IntoIter<T>;

    fn into_iter(self) -> Self::IntoIter {
        self.rows.into_iter()
    }
}

impl<'a, I, T> IntoIterator for &'a Keyed<I, T> {
    type Item = &'a T;
    type IntoIter = std::slice::Iter<'a, T>;

    fn into_iter(self) -> Self::IntoIter {
        self.rows.iter()
    }
}

impl<'a, I, T> IntoIterator for &'a mut Keyed<I, T> {
    type Item = &'a mut T;
    type IntoIter = std::slice::IterMut<'a, T>;

    fn into_iter(self) -> Self::IntoIter {
        self.rows.iter_mut()
    }
}
