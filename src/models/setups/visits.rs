//! The treated visits with the units that set them up.

use crate::catalogue::{ConditionId, Region};
use crate::episodes::episode::{Episodes, is_treated};
use crate::rows::names::Names;
use crate::rows::row::{NameId, Row};
use std::collections::BTreeSet;
use std::num::NonZeroU32;

#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub enum Level {
    Site,
    /// A clinician at a site.
    Clinician,
    /// A traction table at a site.
    Table,
}

/// A unit by its position in [`Units`]; four bytes, also when absent.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct UnitId(NonZeroU32); // one more than the position

impl UnitId {
    /// The unit at a position, at most 4 thousand million.
    pub fn at(position: usize) -> Self {
        Self(NonZeroU32::MIN.saturating_add(u32::try_from(position).unwrap_or(u32::MAX)))
    }

    pub fn position(self) -> usize {
        self.0.get() as usize - 1
    }
}

/// A site, or a clinician or traction table of one.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Debug)]
pub struct Unit {
    pub level: Level,
    pub site: NameId,
    /// The clinician's or table's name; absent for the site itself.
    pub name: Option<NameId>,
}

/// All units: sites, then clinicians, then tables, each in order of site and name.
#[derive(Clone, PartialEq, Default, Debug)]
pub struct Units {
    list: Vec<Unit>,
    /// Position of each unit's site.
    sites: Vec<UnitId>,
}

/// A treated visit.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct SetupVisit {
    pub row: u32,
    pub episode: u32,
    pub patient: NameId,
    /// What is treated.
    pub condition: Option<ConditionId>,
    /// The region: the visit's own, else the episode's.
    pub region: Option<Region>,
    /// Days since 1970-01-01, where the export gives calendar days.
    pub day: Option<i32>,
    pub site: UnitId,
    /// Who set it up.
    pub clinician: Option<UnitId>,
    /// On which table.
    pub table: Option<UnitId>,
}

/// The treated visits, episode after episode, each in order of time.
#[derive(Clone, Debug)]
pub struct SetupVisits<'a> {
    /// The rows they stand for.
    pub rows: &'a [Row],
    pub list: Vec<SetupVisit>,
    pub units: Units,
}

impl Units {
    fn of(rows: &[Row], names: &Names) -> Self {
        let mut found = BTreeSet::new();
        for row in rows.iter().filter(|row| is_treated(row)) {
            found.insert(Unit { level: Level::Site, site: row.site, name: None });
            for (level, name) in [(Level::Clinician, row.clinician), (Level::Table, row.table)] {
                if name.is_some() {
                    found.insert(Unit { level, site: row.site, name });
                }
            }
        }
        let text = |unit: &Unit| {
            let name = match (unit.level, unit.name) {
                (Level::Clinician, Some(name)) => names.clinicians.get(name),
                (Level::Table, Some(name)) => names.tables.get(name),
                _ => "",
            };
            (unit.level, names.sites.get(unit.site).to_owned(), name.to_owned())
        };
        let mut list: Vec<Unit> = found.into_iter().collect();
        list.sort_by_cached_key(text);
        let site_of = |unit: &Unit| list.iter().position(|site| site.level == Level::Site && site.site == unit.site);
        let sites = list.iter().map(|unit| UnitId::at(site_of(unit).unwrap_or(0))).collect();
        Self { list, sites }
    }

    pub fn get(&self, id: UnitId) -> Option<&Unit> {
        self.list.get(id.position())
    }

    /// The site of a unit; itself, of a site.
    pub fn site_of(&self, id: UnitId) -> UnitId {
        self.sites.get(id.position()).copied().unwrap_or(id)
    }

    /// The units of a level.
    pub fn at(&self, level: Level) -> impl Iterator<Item = UnitId> {
        self.list.iter().enumerate().filter(move |(_, unit)| unit.level == level).map(|(i, _)| UnitId::at(i))
    }

    /// How many units there are.
    pub fn len(&self) -> usize {
        self.list.len()
    }

    pub fn is_empty(&self) -> bool {
        self.list.is_empty()
    }

    /// What a unit is called in keyed random streams: the same whatever else is in the run.
    pub fn key(&self, id: UnitId, names: &Names) -> String {
        let Some(unit) = self.get(id) else { return String::new() };
        let site = names.sites.get(unit.site);
        match (unit.level, unit.name) {
            (Level::Clinician, Some(name)) => format!("{site}\0clinician\0{}", names.clinicians.get(name)),
            (Level::Table, Some(name)) => format!("{site}\0table\0{}", names.tables.get(name)),
            _ => site.to_owned(),
        }
    }
}

impl<'a> SetupVisits<'a> {
    /// The treated visits of all episodes.
    pub fn of(rows: &'a [Row], episodes: &Episodes, names: &Names) -> Self {
        let units = Units::of(rows, names);
        let mut by_name = std::collections::BTreeMap::new();
        for (i, unit) in units.list.iter().enumerate() {
            by_name.insert((unit.level, unit.site, unit.name), UnitId::at(i));
        }
        let id = |level, site, name| by_name.get(&(level, site, name)).copied();
        let mut list = Vec::with_capacity(episodes.visit_rows.len());
        for (number, episode) in episodes.list.iter().enumerate() {
            for position in episodes.visits_of(episode) {
                let Some(row) = rows.get(*position as usize).filter(|row| is_treated(row)) else { continue };
                let Some(site) = id(Level::Site, row.site, None) else { continue };
                list.push(SetupVisit {
                    row: *position,
                    episode: number as u32,
                    patient: row.patient,
                    condition: episode.condition,
                    region: row.setup.region.or(episode.region),
                    day: row.when.date().map(|_| row.when.day()),
                    site,
                    clinician: row.clinician.and_then(|name| id(Level::Clinician, row.site, Some(name))),
                    table: row.table.and_then(|name| id(Level::Table, row.site, Some(name))),
                });
            }
        }
        Self { rows, list, units }
    }

    /// The row of a visit.
    pub fn row(&self, visit: &SetupVisit) -> Option<&'a Row> {
        self.rows.get(visit.row as usize)
    }
}

impl SetupVisit {
    /// Its unit at a level.
    pub fn unit(&self, level: Level) -> Option<UnitId> {
        match level {
            Level::Site => Some(self.site),
            Level::Clinician => self.clinician,
            Level::Table => self.table,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_visit_is_small_enough_for_ten_millions() {
        assert!(size_of::<SetupVisit>() <= 40, "{} bytes", size_of::<SetupVisit>());
        assert_eq!(UnitId::at(7).position(), 7);
    }
}
