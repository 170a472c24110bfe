//! Values from outside the project, module by module.
mod planner;
