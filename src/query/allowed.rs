//! What a question may be: one SELECT over the datasets and nothing else that the machine holds, and no deeper or longer than the
//! engine can work through. The text is taken apart by the engine's own parser, so what is judged is what is run.

use sqlparser::ast::{Expr, Query, Statement, TableFactor, Visit, Visitor};
use sqlparser::dialect::GenericDialect;
use sqlparser::keywords::Keyword;
use sqlparser::parser::{Parser, ParserOptions};
use sqlparser::tokenizer::{Location, Token, TokenWithSpan, Tokenizer};
use std::ops::ControlFlow;

/// Brackets and CASEs within one another. The parser gives up at 50 steps of its own, two or three a bracket, and where it tries a
/// text in two ways, as it does CAST, it then tries for ever: 24 of `CAST((` within one another took it more than 20 s.
pub const DEEPEST: usize = 20;
/// Words and signs that may stand between others and so make a question longer, a list's commas and values not counted.
const LONGEST: usize = 1_000;
/// Of these, how many may stand in one expression, with those around it: each is a step on the stack of the engine's threads,
/// which overflows at 400.
const LONGEST_CHAIN: usize = 150;

/// Why a question is not asked.
#[derive(Clone, PartialEq, Eq, Debug)]
pub enum Refused {
    /// The text is no SQL: what the parser says, with the place in it.
    Syntax(String),
    /// It is not one SELECT.
    NotASelect,
    /// It reads something other than datasets: what, as written.
    OtherSource(String),
    /// It is nested too deep, from this line and column on.
    TooDeep(u64, u64),
    /// It is too long.
    TooLong,
}

/// Checks a question.
///
/// # Errors
/// It may not be asked.
pub fn check(sql: &str) -> Result<(), Refused> {
    let syntax = |error: &dyn ToString| Refused::Syntax(error.to_string());
    let tokens = Tokenizer::new(&GenericDialect, sql).tokenize_with_location().map_err(|error| syntax(&error))?;
    measure(&tokens)?;
    let options = ParserOptions { trailing_commas: true, ..ParserOptions::default() };
    let mut parser = Parser::new(&GenericDialect).with_options(options).with_tokens_with_locations(tokens);
    let statements = parser.parse_statements().map_err(|error| syntax(&error))?;
    let [statement @ Statement::Query(_)] = statements.as_slice() else {
        return Err(Refused::NotASelect);
    };
    match statement.visit(&mut Sources::default()) {
        ControlFlow::Break(refused) => Err(refused),
        ControlFlow::Continue(()) => Ok(()),
    }
}

fn measure(tokens: &[TokenWithSpan]) -> Result<(), Refused> {
    let (mut at, mut length) = (Nesting::default(), 0_usize);
    for TokenWithSpan { token, span } in tokens {
        if *token == Token::Comma {
            at.begin_expression();
        }
        if !links(token) {
            continue;
        }
        length += 1;
        at.pass(token);
        if at.open_links > LONGEST_CHAIN {
            return Err(Refused::TooLong);
        }
        if at.depth > DEEPEST {
            let Location { line, column } = span.start;
            return Err(Refused::TooDeep(line, column));
        }
    }
    if length > LONGEST { Err(Refused::TooLong) } else { Ok(()) }
}

/// How deep a place in a question lies, and how long the expressions are in which it lies.
#[derive(Default)]
struct Nesting {
    /// Brackets and CASEs around it.
    depth: usize,
    /// Links of its expression so far.
    links: usize,
    /// Links of those in whose brackets it stands, the outermost first.
    around: Vec<usize>,
    /// The sum of all of these.
    open_links: usize,
}

impl Nesting {
    /// Goes past a token that links.
    fn pass(&mut self, token: &Token) {
        match token {
            Token::LParen => {
                self.depth += 1;
                self.around.push(std::mem::take(&mut self.links));
            }
            Token::RParen => {
                self.depth = self.depth.saturating_sub(1);
                self.begin_expression();
                self.links = self.around.pop().unwrap_or_default();
            }
            Token::LBracket | Token::LBrace => self.link(1),
            Token::RBracket | Token::RBrace => self.link(-1),
            Token::Word(word) => match word.keyword {
                Keyword::CASE => self.link(1),
                Keyword::END => self.link(-1),
                keyword if begins_a_clause(keyword) => self.begin_expression(),
                _ => self.link(0),
            },
            _ => self.link(0),
        }
    }

    /// What follows is an expression of its own.
    fn begin_expression(&mut self) {
        self.open_links -= std::mem::take(&mut self.links);
    }

    /// Adds a link, which leads deeper or out again.
    fn link(&mut self, deeper: isize) {
        self.depth = self.depth.saturating_add_signed(deeper);
        self.links += 1;
        self.open_links += 1;
    }
}

/// Whether a word ends one expression and lets another begin.
fn begins_a_clause(word: Keyword) -> bool {
    use Keyword as K;
    matches!(
        word,
        K::SELECT | K::FROM | K::WHERE | K::GROUP | K::HAVING | K::ORDER | K::JOIN | K::ON | K::WITH | K::LIMIT
    )
}

/// Whether a token can make an expression, a join or a union longer.
fn links(token: &Token) -> bool {
    match token {
        Token::Whitespace(_) | Token::Comma | Token::Number(..) | Token::SingleQuotedString(_) | Token::EOF => false,
        Token::Word(word) => word.keyword != Keyword::NoKeyword,
        _ => true,
    }
}

/// Looks at everything that a query reads from, however deep, and at what the engine writes out more than once.
#[derive(Default)]
struct Sources {
    /// How many expressions around this one are written out twice or more.
    doubled: usize,
}

/// How many of them may stand within one another: each doubles the work at least.
const MOST_DOUBLED: usize = 4;

/// Whether the engine writes what stands in an expression out more than once: `x BETWEEN a AND b` is `x >= a AND x <= b`.
fn doubles(expression: &Expr) -> bool {
    match expression {
        Expr::Between { .. } => true,
        Expr::Case { operand, .. } => operand.is_some(),
        Expr::Function(function) => function.name.to_string().eq_ignore_ascii_case("nullif"),
        _ => false,
    }
}

impl Visitor for Sources {
    type Break = Refused;

    fn pre_visit_expr(&mut self, expression: &Expr) -> ControlFlow<Refused> {
        self.doubled += usize::from(doubles(expression));
        if self.doubled > MOST_DOUBLED { ControlFlow::Break(Refused::TooLong) } else { ControlFlow::Continue(()) }
    }

    fn post_visit_expr(&mut self, expression: &Expr) -> ControlFlow<Refused> {
        self.doubled -= usize::from(doubles(expression));
        ControlFlow::Continue(())
    }

    fn pre_visit_statement(&mut self, statement: &Statement) -> ControlFlow<Refused> {
        match statement {
            Statement::Query(_) => ControlFlow::Continue(()),
            _ => ControlFlow::Break(Refused::NotASelect), // an INSERT or DELETE after WITH
        }
    }

    fn pre_visit_query(&mut self, query: &Query) -> ControlFlow<Refused> {
        match query.for_clause {
            None => ControlFlow::Continue(()),
            Some(_) => ControlFlow::Break(Refused::NotASelect),
        }
    }

    fn pre_visit_table_factor(&mut self, source: &TableFactor) -> ControlFlow<Refused> {
        match source {
            TableFactor::Table { args: None, .. }
            | TableFactor::Derived { .. }
            | TableFactor::NestedJoin { .. }
            | TableFactor::UNNEST { .. } => ControlFlow::Continue(()),
            TableFactor::Table { name, .. } | TableFactor::Function { name, .. } => {
                ControlFlow::Break(Refused::OtherSource(name.to_string()))
            }
            _ => ControlFlow::Break(Refused::OtherSource("what stands there".into())),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::built_in::BUILT_IN;
    use super::*;

    #[test]
    fn what_the_built_in_questions_need_is_allowed_with_room_to_spare() {
        for query in BUILT_IN {
            assert_eq!(check(query.sql), Ok(()), "{}", query.name);
            let tokens = Tokenizer::new(&GenericDialect, query.sql).tokenize().unwrap();
            let length = tokens.iter().filter(|token| links(token)).count();
            assert!(2 * length < LONGEST, "{}: {length}", query.name);
        }
        let keys: Vec<String> = (0..50_000).map(|i| format!("'P{i}'")).collect();
        assert_eq!(check(&format!("SELECT site FROM visits WHERE patient IN ({})", keys.join(", "))), Ok(()));
    }

    #[test]
    fn an_expression_is_measured_with_those_around_it_and_from_its_own_beginning() {
        let chain = |links: usize| vec!["a"; links + 1].join(" + ");
        let select = |text: &str| check(&format!("SELECT {text} FROM visits"));
        assert_eq!(select(&chain(LONGEST_CHAIN)), Ok(()));
        assert_eq!(select(&chain(LONGEST_CHAIN + 1)), Err(Refused::TooLong));
        assert_eq!(select(&format!("{}, {}", chain(100), chain(100))), Ok(()));
        assert_eq!(select(&format!("{} + f(a, b, {})", chain(100), chain(100))), Err(Refused::TooLong));
        assert_eq!(select(&vec!["f(a, b)"; LONGEST_CHAIN + 2].join(" + ")), Err(Refused::TooLong));
    }

    #[test]
    fn what_doubles_the_work_stands_in_few_of_its_kind_and_beside_as_many_as_one_likes() {
        let within = format!("SELECT a{} FROM visits", " BETWEEN 1 AND 2".repeat(MOST_DOUBLED + 1));
        assert_eq!(check(&within), Err(Refused::TooLong));
        let beside = vec!["a BETWEEN 1 AND 2"; 30].join(" AND ");
        assert_eq!(check(&format!("SELECT a FROM visits WHERE {beside}")), Ok(()));
        let cases =
            format!("SELECT {}a{} FROM visits", "CASE ".repeat(6), " WHEN 1 THEN 2 WHEN 2 THEN 3 END".repeat(6));
        assert_eq!(check(&cases), Err(Refused::TooLong));
    }

    #[test]
    fn nothing_but_datasets_is_read_however_deep_it_stands() {
        for source in [
            "read_parquet('/etc/x.parquet')",
            "READ_CSV('/etc/passwd')",
            "read_json('x')",
            "read_ipc('x')",
            "\"read_csv\"('/etc/passwd')",
            "TABLE(read_csv('x'))",
            "LATERAL read_csv('x')",
        ] {
            for sql in [
                format!("SELECT * FROM {source}"),
                format!("SELECT * FROM visits CROSS JOIN {source} AS f"),
                format!("WITH a AS (SELECT * FROM {source}) SELECT * FROM a"),
                format!("SELECT site FROM visits WHERE site IN (SELECT x FROM (SELECT * FROM {source}) AS y)"),
                format!("SELECT site FROM visits UNION ALL SELECT * FROM {source}"),
                format!("SELECT (SELECT COUNT(*) FROM {source}) AS n FROM visits ORDER BY (SELECT 1 FROM {source})"),
            ] {
                assert!(
                    matches!(check(&sql), Err(Refused::OtherSource(_) | Refused::Syntax(_))),
                    "{sql}: {:?}",
                    check(&sql)
                );
            }
        }
    }

    #[test]
    fn a_statement_that_is_no_select_is_refused_where_it_hides_too() {
        for sql in [
            "WITH a AS (SELECT 1) DELETE FROM visits",
            "WITH a AS (SELECT 1) INSERT INTO visits SELECT * FROM a",
            "SELECT 1; SELECT 2",
            "EXPLAIN SELECT 1",
            "SHOW TABLES",
            "COPY visits TO 'x.csv'",
            "",
        ] {
            assert_eq!(check(sql), Err(Refused::NotASelect), "{sql}");
        }
    }

    #[test]
    fn depth_and_length_have_an_end() {
        let nested = |n: usize, open: &str, close: &str| format!("SELECT {}1{} AS x", open.repeat(n), close.repeat(n));
        for (open, close) in [("(", ")"), ("CASE WHEN true THEN ", " END"), ("ABS(", ")"), ("(SELECT ", ")")] {
            assert!(matches!(check(&nested(100_000, open, close)), Err(Refused::TooDeep(1, _))), "{open}");
        }
        for link in [" + 1", " AND true", " UNION ALL SELECT 1", " || 'a'", "::INT", "[1]", " IS NULL"] {
            assert_eq!(check(&format!("SELECT 1{}", link.repeat(100_000))), Err(Refused::TooLong), "{link}");
        }
        for sign in ["-", "NOT ", "+ "] {
            let refused = check(&format!("SELECT {}1", sign.repeat(100_000)));
            assert!(matches!(refused, Err(Refused::TooLong | Refused::Syntax(_)) | Ok(())), "{sign}: {refused:?}");
        }
        // brackets in words and comments are no brackets
        assert_eq!(check(&format!("SELECT '{}' AS x -- {}\n", "(".repeat(500), "(".repeat(500))), Ok(()));
    }
}
