//! The kinds of dump, and the fields a line of each may fill.
//!
//! A kind is named as in a mapping's `kind`. Its fields are the columns of the tables it feeds; a
//! line of `code_scan` feeds two, the scan and one of its codes.

use lake::tables::{Column, Table, table};

/// What a dump holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum DumpKind {
    Vehicle,
    BatteryTest,
    CodeScan,
    TroubleCode,
    WorkOrder,
    DepotWeather,
}

impl DumpKind {
    pub const ALL: &'static [DumpKind] = &[
        DumpKind::Vehicle,
        DumpKind::BatteryTest,
        DumpKind::CodeScan,
        DumpKind::TroubleCode,
        DumpKind::WorkOrder,
        DumpKind::DepotWeather,
    ];

    /// The name in a mapping, which is also the table that one line is a row of.
    pub fn name(self) -> &'static str {
        match self {
            DumpKind::Vehicle => "vehicle",
            DumpKind::BatteryTest => "battery_test",
            DumpKind::CodeScan => "code_scan",
            DumpKind::TroubleCode => "trouble_code",
            DumpKind::WorkOrder => "work_order",
            DumpKind::DepotWeather => "depot_weather",
        }
    }

    pub fn parse(name: &str) -> Option<DumpKind> {
        DumpKind::ALL
            .iter()
            .copied()
            .find(|kind| kind.name() == name.trim())
    }

    /// The tables a line feeds; for a scan, first the scan, then the code.
    pub fn tables(self) -> Vec<&'static Table> {
        let names: &[&str] = match self {
            DumpKind::CodeScan => &["code_scan", "trouble_code"],
            _ => &[self.name()],
        };
        names.iter().filter_map(|name| table(name)).collect()
    }

    /// Every field a line may fill, each once, in the order of the tables.
    pub fn fields(self) -> Vec<&'static Column> {
        let mut fields: Vec<&'static Column> = Vec::new();
        for table in self.tables() {
            for column in table.columns {
                if fields.iter().all(|field| field.name != column.name) {
                    fields.push(column);
                }
            }
        }
        fields
    }

    pub fn has_field(self, name: &str) -> bool {
        self.fields().iter().any(|field| field.name == name)
    }

    /// Whether a line without the field can never be used. A scan's number can be made from
    /// vehicle and time, a test without a position is of the main battery, a code can be told by
    /// its suspect parameter number, and a line of a scan may have no code.
    pub fn must_have(self, column: &Column) -> bool {
        let made_otherwise = match self {
            DumpKind::CodeScan => matches!(column.name, "scan_id" | "module_address" | "code"),
            DumpKind::TroubleCode => matches!(column.name, "scan_id" | "code"),
            DumpKind::BatteryTest => column.name == "position",
            _ => false,
        };
        column.required && !made_otherwise
    }
}

/// The column of that name in any kind of dump.
pub fn column(field: &str) -> Option<&'static Column> {
    let mut fields = DumpKind::ALL.iter().flat_map(|kind| kind.fields());
    fields.find(|column| column.name == field)
}
