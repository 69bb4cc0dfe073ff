//! The derived tables: one SQL file each, and who reads whom, found from the SQL itself.
//!
//! The files in `queries/` are part of the program; a folder named by the user overrides those of
//! the same name and may add others. It fails on a file that is not one query, on a query that
//! reads a table nobody has, and on queries that read each other in a circle, and names the file.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use datafusion::sql::parser::{DFParser, Statement};
use datafusion::sql::resolve::resolve_table_references;
use datafusion::sql::sqlparser::ast;
use datafusion::sql::sqlparser::dialect::GenericDialect;
use datafusion::sql::sqlparser::tokenizer::{Token, Tokenizer};
use include_dir::{Dir, include_dir};

/// What the columns of derived tables mean.
pub const COLUMNS: &str = include_str!("../../queries/columns.toml");

static SHIPPED: Dir<'_> = include_dir!("$CARGO_MANIFEST_DIR/../../queries");

/// Why the queries do not fit together.
#[derive(Debug, thiserror::Error)]
pub enum QueryGraphError {
    #[error("the queries folder {path} could not be read: {source}")]
    Read {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error("{file} is not SQL: {why}")]
    Syntax { file: String, why: String },
    #[error(
        "{file} nests {depth} operators and brackets, at most {most} are planned; take it apart, or raise \
         limits.expression_depth in voltwane.toml"
    )]
    TooDeep {
        file: String,
        depth: usize,
        most: i64,
    },
    #[error("{file} must hold exactly one SELECT, it holds {found}")]
    NotOneQuery { file: String, found: String },
    #[error(
        "{file} reads {table}, which is neither a table of the lake nor a query; known are: {known}"
    )]
    MissingTable {
        file: String,
        table: String,
        known: String,
    },
    #[error("these queries read each other in a circle: {}", .0.join(" reads "))]
    Circle(Vec<String>),
}

/// Every text file of a shipped folder and of those in it.
fn shipped<'a>(folder: &'a Dir<'a>) -> Vec<(&'a Path, &'a str)> {
    let own = folder
        .files()
        .filter_map(|file| Some((file.path(), file.contents_utf8()?)));
    own.chain(folder.dirs().flat_map(shipped)).collect()
}

/// Every file of a user's folder and of those one level down, in the order of their names.
fn files_below(folder: &Path) -> Result<Vec<PathBuf>, QueryGraphError> {
    let entries = |folder: &Path| -> Result<Vec<std::fs::DirEntry>, QueryGraphError> {
        std::fs::read_dir(folder)
            .and_then(|entries| entries.collect())
            .map_err(|source| QueryGraphError::Read {
                path: folder.to_owned(),
                source,
            })
    };
    let mut files = Vec::new();
    for entry in entries(folder)? {
        match entry.file_type() {
            Ok(kind) if kind.is_dir() => {
                files.extend(entries(&entry.path())?.iter().map(std::fs::DirEntry::path));
            }
            _ => files.push(entry.path()),
        }
    }
    files.sort();
    Ok(files)
}

/// One derived table's SQL.
#[derive(Debug, Clone)]
pub struct Query {
    pub name: String,
    /// Where the text came from, for messages.
    pub file: String,
    pub sql: String,
    /// The comment the file opens with, without the dashes.
    pub about: String,
    /// Tables it reads, sorted.
    pub reads: BTreeSet<String>,
    /// Whether its rows are kept for those that read it, or made anew for each
    /// (`-- Not kept` in the opening comment: for tables too large to keep).
    pub kept: bool,
}

/// All derived tables, checked to fit together.
#[derive(Debug, Clone)]
pub struct QueryGraph {
    queries: BTreeMap<String, Query>,
}

impl QueryGraph {
    /// The shipped queries and those in `folder`. `given` are the tables that are there without a
    /// query, each with the tables it is made from. A user's query may be nested so deep.
    pub fn new(
        folder: Option<&Path>,
        given: &BTreeMap<String, BTreeSet<String>>,
        most_depth: i64,
    ) -> Result<Self, QueryGraphError> {
        let mut texts: BTreeMap<String, (String, String)> = BTreeMap::new();
        for (path, text) in shipped(&SHIPPED) {
            if let Some(name) = query_name(path) {
                let place = format!("queries/{}", path.display());
                texts.insert(name, (place, text.to_owned()));
            }
        }
        for (folder, path) in folder
            .map(|folder| {
                Ok(files_below(folder)?
                    .into_iter()
                    .map(move |path| (folder, path)))
            })
            .transpose()?
            .into_iter()
            .flatten()
        {
            if let Some(name) = query_name(&path) {
                let read = settings::text_file::read_within(folder, &path);
                let text = read.map_err(|source| QueryGraphError::Read {
                    path: path.clone(),
                    source,
                })?;
                let file = path.display().to_string();
                check_depth(&file, &text, most_depth)?;
                texts.insert(name, (file, text));
            }
        }
        Self::from_texts(texts, given)
    }

    fn from_texts(
        texts: BTreeMap<String, (String, String)>,
        given: &BTreeMap<String, BTreeSet<String>>,
    ) -> Result<Self, QueryGraphError> {
        let mut queries = BTreeMap::new();
        for (name, (file, sql)) in texts {
            let statement = one_query(&file, &sql)?;
            let reads = tables_read(&file, &statement)?;
            let about = opening_comment(&sql);
            queries.insert(
                name.clone(),
                Query {
                    kept: !about.lines().any(|line| line.starts_with("Not kept")),
                    name,
                    file,
                    sql,
                    about,
                    reads,
                },
            );
        }
        let graph = Self { queries };
        graph.check_tables(given)?;
        graph.check_circles(given)?;
        Ok(graph)
    }

    /// The query of that name.
    pub fn get(&self, name: &str) -> Option<&Query> {
        self.queries.get(name)
    }

    /// All queries by name.
    pub fn iter(&self) -> impl Iterator<Item = &Query> {
        self.queries.values()
    }

    fn check_tables(
        &self,
        given: &BTreeMap<String, BTreeSet<String>>,
    ) -> Result<(), QueryGraphError> {
        for query in self.queries.values() {
            for table in &query.reads {
                let known = self.queries.contains_key(table)
                    || given.contains_key(table)
                    || table.starts_with("lake.");
                if !known {
                    let mut known: Vec<&str> = self.queries.keys().map(String::as_str).collect();
                    known.extend(given.keys().map(String::as_str));
                    known.sort_unstable();
                    return Err(QueryGraphError::MissingTable {
                        file: query.file.clone(),
                        table: table.clone(),
                        known: known.join(", "),
                    });
                }
            }
        }
        Ok(())
    }

    /// Walks down from every table; one met again on the way down closes a circle.
    fn check_circles(
        &self,
        given: &BTreeMap<String, BTreeSet<String>>,
    ) -> Result<(), QueryGraphError> {
        let none = BTreeSet::new();
        let reads = |name: &str| {
            self.queries
                .get(name)
                .map(|query| &query.reads)
                .or_else(|| given.get(name))
                .unwrap_or(&none)
        };
        let mut finished: BTreeSet<String> = BTreeSet::new();
        for start in self.queries.keys() {
            let mut way: Vec<(String, Vec<String>)> = Vec::new();
            way.push((start.clone(), reads(start).iter().cloned().collect()));
            while let Some((name, ahead)) = way.last_mut() {
                let Some(next) = ahead.pop() else {
                    finished.insert(name.clone());
                    way.pop();
                    continue;
                };
                if let Some(at) = way.iter().position(|(name, _)| *name == next) {
                    let mut circle: Vec<String> =
                        way[at..].iter().map(|(name, _)| name.clone()).collect();
                    circle.push(next);
                    return Err(QueryGraphError::Circle(circle));
                }
                if !finished.contains(&next) {
                    let below = reads(&next).iter().cloned().collect();
                    way.push((next, below));
                }
            }
        }
        Ok(())
    }
}

fn query_name(path: &Path) -> Option<String> {
    (path.extension()? == "sql").then(|| Some(path.file_stem()?.to_str()?.to_owned()))?
}

fn one_query(file: &str, sql: &str) -> Result<Statement, QueryGraphError> {
    let statements = DFParser::parse_sql(sql).map_err(|error| QueryGraphError::Syntax {
        file: file.to_owned(),
        why: error.to_string(),
    })?;
    let count = statements.len();
    let mut statements = statements.into_iter();
    match (statements.next(), count) {
        (Some(statement), 1) if is_query(&statement) => Ok(statement),
        (_, 1) => Err(QueryGraphError::NotOneQuery {
            file: file.to_owned(),
            found: "another statement".to_owned(),
        }),
        (_, count) => Err(QueryGraphError::NotOneQuery {
            file: file.to_owned(),
            found: format!("{count} statements"),
        }),
    }
}

/// Fails on SQL whose operators and brackets stand deeper within each other than may be: parsing and
/// planning go down as deep, and no stack is endless.
pub fn check_depth(file: &str, sql: &str, most: i64) -> Result<(), QueryGraphError> {
    let depth = depth(sql);
    match i64::try_from(depth).is_ok_and(|depth| depth <= most) {
        true => Ok(()),
        false => Err(QueryGraphError::TooDeep {
            file: file.to_owned(),
            depth,
            most,
        }),
    }
}

/// How deep the operators of SQL can stand within each other. `a + b + c` is two deep, since a sum holds
/// the sum before it; so are two joins and two unions. Of SQL that cannot be taken apart it is 0: the
/// parser says what is wrong with it.
fn depth(sql: &str) -> usize {
    /// What was counted since the last bracket.
    #[derive(Default)]
    struct Level {
        operators: usize,
        /// Joins and unions, which go on from one clause to the next.
        sets: usize,
    }
    const SETS: [&str; 4] = ["UNION", "EXCEPT", "INTERSECT", "JOIN"];
    const OPERATORS: [&str; 9] = [
        "AND", "OR", "NOT", "IS", "LIKE", "ILIKE", "BETWEEN", "IN", "COLLATE",
    ];
    const CLAUSES: [&str; 10] = [
        "SELECT", "FROM", "WHERE", "GROUP", "HAVING", "ORDER", "LIMIT", "WHEN", "THEN", "ELSE",
    ];
    let Ok(tokens) = Tokenizer::new(&GenericDialect {}, sql).tokenize() else {
        return 0;
    };
    let mut levels = vec![Level::default()];
    // Of the levels below the last.
    let (mut below, mut deepest) = (0, 0);
    for token in tokens {
        let word = match &token {
            Token::Word(word) if word.quote_style.is_none() => word.value.to_uppercase(),
            _ => String::new(),
        };
        let is = |words: &[&str]| words.contains(&word.as_str());
        let opens =
            is(&["CASE"]) || matches!(token, Token::LParen | Token::LBracket | Token::LBrace);
        let closes =
            is(&["END"]) || matches!(token, Token::RParen | Token::RBracket | Token::RBrace);
        let Some(level) = levels.last_mut() else {
            break;
        };
        if opens {
            below += level.operators + level.sets + 1;
            levels.push(Level::default());
        } else if closes {
            if levels.len() > 1 {
                levels.pop();
                let level = levels
                    .last()
                    .map_or(0, |level| level.operators + level.sets);
                below = below.saturating_sub(level + 1);
            }
        } else if is(&SETS) {
            level.sets += 1;
        } else if is(&CLAUSES) || matches!(token, Token::Comma | Token::SemiColon) {
            level.operators = 0;
        } else if is(&OPERATORS) || is_operator(&token) {
            level.operators += 1;
        }
        let at = levels
            .last()
            .map_or(0, |level| level.operators + level.sets);
        deepest = deepest.max(below + at);
    }
    deepest
}

/// Whether a token stands between or before operands.
fn is_operator(token: &Token) -> bool {
    !matches!(
        token,
        Token::EOF
            | Token::Word(_)
            | Token::Number(..)
            | Token::Char(_)
            | Token::SingleQuotedString(_)
            | Token::DoubleQuotedString(_)
            | Token::DollarQuotedString(_)
            | Token::NationalStringLiteral(_)
            | Token::HexStringLiteral(_)
            | Token::Placeholder(_)
            | Token::Whitespace(_)
            | Token::Period
    )
}

/// Whether a statement only reads.
pub fn is_query(statement: &Statement) -> bool {
    match statement {
        Statement::Statement(inner) => matches!(inner.as_ref(), ast::Statement::Query(_)),
        Statement::Explain(explain) => is_query(&explain.statement),
        _ => false,
    }
}

/// The tables a statement reads, without those it defines itself.
pub fn tables_read(file: &str, statement: &Statement) -> Result<BTreeSet<String>, QueryGraphError> {
    let (tables, _) =
        resolve_table_references(statement, true).map_err(|error| QueryGraphError::Syntax {
            file: file.to_owned(),
            why: error.to_string(),
        })?;
    Ok(tables.iter().map(ToString::to_string).collect())
}

/// The comment lines a query opens with.
fn opening_comment(sql: &str) -> String {
    sql.lines()
        .map_while(|line| line.strip_prefix("--"))
        .map(str::trim)
        .collect::<Vec<_>>()
        .join("\n")
}

#[cfg(test)]
mod tests {
    use super::depth;

    #[test]
    fn depth_is_of_what_stands_within_each_other() {
        assert_eq!(depth("SELECT 1"), 0);
        assert_eq!(depth("SELECT 1 + 2 + 3"), 2);
        assert_eq!(depth("SELECT 1 + 2, 3 + 4, a.b"), 1);
        assert_eq!(depth("SELECT 1 + (2 * (3 - 4))"), 5);
        assert_eq!(depth("SELECT (1), (2), (3)"), 1);
        assert_eq!(depth("SELECT CASE WHEN a AND b THEN c END, d + e"), 2);
        assert_eq!(depth("SELECT 1 UNION ALL SELECT 2 UNION ALL SELECT 3"), 2);
        assert_eq!(
            depth("SELECT * FROM a WHERE b IN ('x', 'y', 'z', '+ + + +')"),
            2
        );
        assert_eq!(depth(&format!("SELECT 1{}", "+1".repeat(20_000))), 20_000);
        assert_eq!(depth("SELECT 'open"), 0);
    }
}
