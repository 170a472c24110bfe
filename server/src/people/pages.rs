use askama::Template;

use super::Person;
use super::form::SignInForm;
use crate::form::FieldErrors;
use crate::page::Layout;

#[derive(Template)]
#[template(path = "people/sign-in.html")]
pub struct SignInPage {
    pub page: Layout,
    pub form: SignInForm,
    pub errors: FieldErrors,
    /// Those that one button signs in as; only in the demonstration.
    pub people: Vec<Person>,
}
